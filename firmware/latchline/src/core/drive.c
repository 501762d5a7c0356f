#include "drive.h"

#include <string.h>

#include "assure.h"
#include "lock.h"

void drive_start(struct drive *drive, void *world)
{
    memset(drive, 0, sizeof *drive);
    edges_start(&drive->edges);
    drive->world = world;
    drive->limit_ms = LIMIT_MS_MIN;
    drive->full = INT32_MAX; /* until there is a bed no coil is ever on */
}

void drive_set_bed(struct drive *drive, const struct bed *bed)
{
    int32_t down = (int32_t)BEAT_TICKS * bed->duty;
    int32_t up = (int32_t)BEAT_TICKS * SIXTEENTHS - down;
    int32_t full = 2 * up * bed->limit_ms;
    lock_state lock = lock_take();
    drive->limit_ms = bed->limit_ms;
    drive->up = up;
    drive->down = down;
    drive->full = full;
    drive->cool = full / 4 * 3;
    drive->resting = 0;
    lock_give(lock);
}

/* What of a beat a coil was not in the state in which the beat counted it, or will. A beat that came later than the
 * change, if within the same tick or while the interrupt of the beat was being entered, found it changed. */
static void note_change(struct drive *drive, uint8_t coil, bool on, bool found_on, uint16_t tick)
{
    int16_t since = (int16_t)(uint16_t)(tick - drive->beat_tick);
    bool counted = since < 0 || (since <= 1 && found_on == on);
    int32_t budget = drive->budget[coil];
    if (counted) {
        do
            since = (int16_t)(since + BEAT_TICKS);
        while (since < 0);
    }
    since = (int16_t)(SIXTEENTHS * since);
    if (on)
        since = (int16_t)-since;
    budget += since;
    if (counted && budget < 0)
        budget = 0; /* as at the beat itself */
    drive->budget[coil] = budget;
    if (!on)
        drive->on_ms[coil] = 0; /* not of one that goes on: a beat may have counted for it since it did */
}

static void note_changes(struct drive *drive, uint16_t before, uint16_t coils, uint32_t tick)
{
    uint16_t left = (uint16_t)(before ^ coils);
    uint16_t bit = 1;
    uint8_t coil;
    for (coil = 0; left != 0; coil++, bit = (uint16_t)(bit << 1)) {
        lock_state lock;
        if ((left & bit) == 0)
            continue;
        left &= (uint16_t)~bit;
        drive->changed_at[coil] = tick;
        lock = lock_take();
        note_change(drive, coil, (coils & bit) != 0, (drive->beat_found & bit) != 0, (uint16_t)tick);
        lock_give(lock);
    }
}

/* Shifts without a lock, as it takes its time; a rest that came between has overwritten it. */
static void shift_out(struct drive *drive, uint16_t coils)
{
    drive->disturbed = 0;
    port_shift(drive->world, coils);
}

void drive_forget(struct drive *drive)
{
    if (!drive->ready)
        return;
    drive->edges.awaited = NO_PINS; /* first, for without anything ready the edge would count */
    drive->ready = 0;
}

/* What was shifted out, unless a rest came between; interrupts are off. */
static void put_out(struct drive *drive, uint16_t coils)
{
    if (drive->latched == coils)
        return;
    if (drive->disturbed)
        shift_out(drive, coils);
    port_latch(drive->world);
    drive->latched = coils;
}

bool drive_put(struct drive *drive, uint16_t coils, uint32_t tick)
{
    uint16_t before;
    bool late;
    lock_state lock;
    drive_forget(drive);
    lock = lock_take();
    coils &= (uint16_t)~drive->resting;
    late = drive->latched != coils;
    if (late) {
        lock_give(lock);
        shift_out(drive, coils);
        lock = lock_take();
        coils &= (uint16_t)~drive->resting; /* one may have come to rest meanwhile */
        put_out(drive, coils);
    }
    before = drive->wanted;
    drive->wanted = coils;
    drive->warm |= before ^ coils;
    lock_give(lock);
    if (late) /* by how much tells at the needle */
        tick = port_ticks(drive->world);
    if (before != coils)
        note_changes(drive, before, coils, tick);
    return late;
}

void drive_prepare(struct drive *drive, uint16_t coils, uint8_t pins)
{
    bool same;
    lock_state lock;
    drive_forget(drive);
    ASSURE(drive->edges.room == 0);
    lock = lock_take();
    coils &= (uint16_t)~drive->resting;
    same = coils == drive->latched;
    lock_give(lock);
    if (same)
        return;
    shift_out(drive, coils);
    drive->coming = coils;
    lock = lock_take();
    if (!drive->disturbed) {
        drive->ready = 1;
        drive->edges.awaited = pins & PINS_AT_EDGE;
    }
    lock_give(lock);
}

int32_t drive_budget(const struct drive *drive, uint8_t coil)
{
    lock_state lock = lock_take();
    int32_t budget = drive->budget[coil];
    lock_give(lock);
    return budget;
}

uint16_t drive_end_rests(struct drive *drive)
{
    uint16_t over = 0;
    uint16_t bit = 1;
    uint8_t coil;
    lock_state lock;
    for (coil = 0; coil < SELECTORS_MAX; coil++, bit = (uint16_t)(bit << 1)) {
        if ((drive->resting & bit) != 0 && drive_budget(drive, coil) <= drive->cool)
            over |= bit;
    }
    lock = lock_take();
    drive->resting &= (uint16_t)~over;
    lock_give(lock);
    return over;
}

uint16_t drive_resting(const struct drive *drive)
{
    lock_state lock = lock_take();
    uint16_t resting = drive->resting;
    lock_give(lock);
    return resting;
}

uint16_t drive_latched(const struct drive *drive)
{
    lock_state lock = lock_take();
    uint16_t latched = drive->latched;
    lock_give(lock);
    return latched;
}

uint16_t drive_rests(const struct drive *drive)
{
    lock_state lock = lock_take();
    uint16_t rests = drive->rests;
    lock_give(lock);
    return rests;
}

bool drive_show(struct drive *drive, bool enabled, bool lamp)
{
    bool switched = enabled != drive->enabled;
    if (switched) {
        drive->enabled = enabled;
        port_enable(drive->world, enabled);
    }
    if (lamp != drive->lamp) {
        drive->lamp = lamp;
        port_lamp(drive->world, lamp);
    }
    return switched;
}

/* The coils in `due` out of the register. */
static void put_to_rest(struct drive *drive, uint16_t due)
{
    uint16_t left = due;
    bool lit;
    lock_state lock = lock_take();
    lit = (drive->latched & due) != 0;
    drive->resting |= due;
    drive->wanted &= (uint16_t)~due;
    drive->beat_found &= (uint16_t)~due;
    for (; left != 0; left &= (uint16_t)(left - 1)) {
        if (drive->rests != UINT16_MAX)
            drive->rests++;
    }
    if (lit || (drive->coming & due) != 0)
        drive_forget(drive);
    drive->disturbed = 1; /* so that the main loop prepares anew */
    if (lit) {
        drive->latched &= (uint16_t)~due;
        port_shift(drive->world, drive->latched);
        port_latch(drive->world);
    }
    lock_give(lock);
}

/* A beat of one coil; true when it is to be put to rest. The main loop, which is what it interrupts, locks. */
static bool beat_coil(struct drive *drive, uint8_t coil, bool on)
{
    int32_t budget = drive->budget[coil] + (on ? drive->up : -drive->down);
    bool over_limit = false;
    if (budget < 0)
        budget = 0;
    drive->budget[coil] = budget;
    if (!on)
        drive->on_ms[coil] = 0;
    else
        over_limit = ++drive->on_ms[coil] >= drive->limit_ms;
    return over_limit || budget >= drive->full;
}

void drive_beat(struct drive *drive, uint16_t tick)
{
    uint16_t on;
    uint16_t left;
    uint16_t due = 0;
    uint16_t warm = 0;
    uint16_t bit = 1;
    uint8_t coil;
    lock_state lock = lock_take();
    on = drive->latched;
    left = on | drive->warm;
    drive->warm = 0;
    drive->beat_tick = tick;
    drive->beat_found = on;
    lock_give(lock);
    for (coil = 0; left != 0; coil++, bit = (uint16_t)(bit << 1)) {
        if ((left & bit) == 0)
            continue;
        left &= (uint16_t)~bit;
        if (beat_coil(drive, coil, (on & bit) != 0) && (drive->resting & bit) == 0) {
            due |= bit;
            drive->on_ms[coil] = 0;
        }
        if (drive->budget[coil] != 0 || (on & bit) != 0)
            warm |= bit;
    }
    lock = lock_take();
    drive->warm |= warm;
    lock_give(lock);
    if (due != 0)
        put_to_rest(drive, due);
}
