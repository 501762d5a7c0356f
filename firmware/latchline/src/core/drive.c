#include "drive.h"

#include <string.h>

#include "assure.h"
#include "lock.h"

void drive_start(struct drive *drive, const struct ports *ports)
{
    memset(drive, 0, sizeof *drive);
    edges_start(&drive->edges);
    drive->ports = ports;
    drive->limit_ms = LIMIT_MS_MIN;
}

void drive_limit(struct drive *drive, uint16_t limit_ms)
{
    lock_state lock = lock_take();
    drive->limit_ms = limit_ms;
    lock_give(lock);
}

/* Notes when each coil came to its state. The time on of those that go off is set to zero here, not that of
 * those that go on, because a beat may have counted for them since the interrupt switched them. */
static void note_changes(struct drive *drive, uint16_t before, uint16_t coils, uint32_t tick)
{
    uint16_t changed = (uint16_t)(before ^ coils);
    uint8_t coil = 0;
    if ((uint8_t)changed == 0) { /* a shift by eight costs nothing, eight shifts do */
        coil = 8;
        changed >>= 8;
        before >>= 8;
    }
    for (; changed != 0; coil++, changed >>= 1, before >>= 1) {
        if ((changed & 1) == 0)
            continue;
        drive->changed_at[coil] = tick;
        if ((before & 1) != 0) {
            lock_state lock = lock_take();
            drive->on_ms[coil] = 0;
            lock_give(lock);
        }
    }
}

/* Shifts without a lock, as it takes its time; a rest that came between has overwritten it. */
static void shift_out(struct drive *drive, uint16_t coils)
{
    drive->disturbed = 0;
    drive->ports->shift(drive->ports->world, coils);
}

void drive_forget(struct drive *drive)
{
    if (!drive->ready)
        return;
    drive->edges.awaited = NO_PINS; /* first, for without anything ready the edge would count */
    drive->ready = 0;
}

bool drive_put(struct drive *drive, uint16_t coils, uint32_t tick)
{
    uint16_t before;
    bool late = false;
    lock_state lock;
    drive_forget(drive);
    if (drive_latched(drive) != coils) {
        late = true;
        shift_out(drive, coils);
    }
    lock = lock_take();
    if (drive->latched != coils) {
        if (drive->disturbed)
            shift_out(drive, coils);
        drive->ports->latch(drive->ports->world);
        drive->latched = coils;
    }
    before = drive->wanted;
    drive->wanted = coils;
    lock_give(lock);
    if (before != coils)
        note_changes(drive, before, coils, tick);
    return late;
}

void drive_prepare(struct drive *drive, uint16_t coils, uint8_t pins)
{
    lock_state lock;
    drive_forget(drive);
    ASSURE(drive->edges.room == 0);
    if (coils == drive_latched(drive))
        return;
    shift_out(drive, coils);
    drive->coming = coils;
    lock = lock_take();
    if (!drive->disturbed) {
        drive->ready = 1;
        drive->edges.awaited = pins;
    }
    lock_give(lock);
}

uint16_t drive_end_rests(struct drive *drive)
{
    uint16_t woken;
    lock_state lock = lock_take();
    woken = drive->rested;
    drive->rested = 0;
    drive->wanted &= (uint16_t)~woken;
    lock_give(lock);
    return woken;
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
    const struct ports *ports = drive->ports;
    bool switched = enabled != drive->enabled;
    if (switched) {
        drive->enabled = enabled;
        ports->enable(ports->world, enabled);
    }
    if (lamp != drive->lamp) {
        drive->lamp = lamp;
        ports->lamp(ports->world, lamp);
    }
    return switched;
}

/* The coils in `due` out of the register; everything that lay ready in it is lost. */
static void put_to_rest(struct drive *drive, uint16_t due)
{
    uint16_t left = due;
    lock_state lock = lock_take();
    drive_forget(drive);
    drive->disturbed = 1;
    drive->rested |= due;
    drive->latched &= (uint16_t)~due;
    for (; left != 0; left &= (uint16_t)(left - 1)) {
        if (drive->rests != UINT16_MAX)
            drive->rests++;
    }
    drive->ports->shift(drive->ports->world, drive->latched);
    drive->ports->latch(drive->ports->world);
    lock_give(lock);
}

void drive_beat(struct drive *drive)
{
    uint16_t on = drive_latched(drive);
    uint16_t left = on | drive->timed;
    uint16_t due = 0;
    uint16_t bit = 1;
    uint8_t coil;
    for (coil = 0; left >= bit && bit != 0; coil++, bit = (uint16_t)(bit << 1)) {
        if ((on & bit) == 0) {
            drive->on_ms[coil] = 0;
        } else if (++drive->on_ms[coil] >= drive->limit_ms) {
            due |= bit;
            drive->on_ms[coil] = 0;
        }
    }
    drive->timed = on;
    if (due != 0)
        put_to_rest(drive, due);
}
