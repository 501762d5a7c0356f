/* The pure parts of the core, tried with everything that a small world can hold. Prints how many cases there were;
 * stops at the first that is wrong. */
#include <assert.h>
#include <stdio.h>
#include <string.h>

#include "../latchline/src/core/drive.h"
#include "../latchline/src/core/ports.h"
#include "../latchline/src/core/select.h"
#include "../latchline/src/core/track.h"

#define NEEDLES 4
#define FARTHEST 30
#define STEPS 9

static unsigned long cases;

static int point_of(const struct bed *bed, bool rightward, int needle)
{
    return rightward ? needle * bed->edges_per_needle - bed->lead_rightward
                     : -needle * bed->edges_per_needle - bed->lead_leftward;
}

/* Section 7 of the protocol, word for word. */
static uint16_t coils_by_rule(const struct bed *bed, const struct slot *slot, int q)
{
    uint16_t coils = 0;
    for (int needle = 0; needle < NEEDLES; needle++) {
        int selector = bed->bank ? needle % bed->count : bed->count == 2 && !slot->rightward;
        int point = point_of(bed, slot->rightward, needle);
        bool selected = (slot->held.coming.mask[0] >> needle & 1) != 0;
        if (selected != bed->active_low && q - bed->hold < point && point <= q + bed->advance_max)
            coils |= (uint16_t)(1u << selector);
    }
    return coils;
}

/* From every place to the next in both directions, prepared or not. */
static void select_everywhere(const struct bed *bed, const struct plan *plan, const struct slot *slot)
{
    struct select select;
    select_begin(&select, bed, plan, slot);
    for (int q = -FARTHEST; q <= FARTHEST; q++) {
        assert(select_edge(&select, (int16_t)q) == coils_by_rule(bed, slot, q));
        if (q % 3 != 0)
            assert(select_coming(&select, (int16_t)(q + 1), FARTHEST) ==
                   (q + 1 < FARTHEST ? coils_by_rule(bed, slot, q + 1) : 0));
        if (q % 5 == 4) { /* back up a little, and on again */
            for (int back = q - 1; back > q - 4; back--)
                assert(select_edge(&select, (int16_t)back) == coils_by_rule(bed, slot, back));
            assert(select_edge(&select, (int16_t)q) == coils_by_rule(bed, slot, q));
        }
        cases++;
    }
}

static void select_all(void)
{
    struct bed bed;
    struct plan plan;
    struct slot slot;
    memset(&bed, 0, sizeof bed);
    memset(&plan, 0, sizeof plan);
    memset(&slot, 0, sizeof slot);
    bed.needles = NEEDLES;
    plan.last_needle = NEEDLES - 1;
    for (int world = 0; world < 2 * 3 * 3 * 2 * 2 * 3 * 16; world++) {
        int left = world;
        bed.bank = left % 2 == 1, left /= 2;
        bed.count = (uint8_t)(1 + left % 3), left /= 3;
        bed.edges_per_needle = (uint8_t)(2 + left % 3), left /= 3;
        bed.active_low = left % 2 == 1, left /= 2;
        slot.rightward = left % 2 == 1, left /= 2;
        bed.lead_leftward = (int16_t)(left % 3 * 5 - 5), bed.lead_rightward = (int16_t)(5 - left % 3 * 5), left /= 3;
        slot.held.coming.mask[0] = (uint8_t)left;
        if (!bed.bank && bed.count > 2)
            continue;
        for (int reach = 2; reach <= (bed.bank ? bed.count : 1) * bed.edges_per_needle; reach++) {
            for (int hold = 1; hold < reach; hold++) {
                bed.hold = (uint8_t)hold;
                bed.advance_max = (uint8_t)(reach - hold);
                select_everywhere(&bed, &plan, &slot);
            }
        }
    }
}

/* One edge of a story of STEPS: direction, and whether the left sensor is on. */
static void track_one(struct track *track, const struct bed *bed, int choice, uint32_t tick, int *on_running)
{
    bool rightward = (choice & 1) != 0;
    bool on = (choice & 2) != 0;
    int16_t from = track->count;
    bool was_certain = track->certain;
    uint8_t pins = (uint8_t)(track_pins_after(track->pins, rightward) | PIN_RIGHT | PIN_MIDDLE | (on ? 0 : PIN_LEFT));
    struct step step = track_edge(track, bed, pins, tick, WATCH_PLAN);
    *on_running = on ? *on_running + 1 : 0;
    assert(step.rightward == rightward && step.from == from);
    assert(step.kind == STEP_LOST || step.kind == STEP_PLACED);
    if (step.verdict.fault != FAULT_NONE) {
        assert(step.kind == STEP_LOST && fault_loses_position(step.verdict.fault));
        track_lose(track);
        return;
    }
    if (track->certain && !was_certain) /* only by two edges running, near the sensor's place */
        assert(*on_running >= 2 && !rightward && track->count <= bed->left_sensor - 1 + bed->tolerance &&
               track->count >= bed->left_sensor - 1 - bed->tolerance);
    else /* nothing but edges changes it */
        assert(track->count == from + (rightward ? 1 : -1));
}

static void track_all(void)
{
    struct bed bed;
    memset(&bed, 0, sizeof bed);
    bed.needles = 2;
    bed.edges_per_needle = 1;
    bed.left_sensor = -3;
    bed.right_sensor = 60;
    bed.middle_right = -1;
    for (int tolerance = 0; tolerance <= TOLERANCE_MOST; tolerance++) {
        bed.tolerance = (uint8_t)tolerance;
        for (long story = 0; story < 1L << (2 * STEPS); story++) {
            struct track track;
            int on_running = 0;
            track_start(&track, PINS_SENSORS);
            track_set_bed(&track, &bed);
            for (int step = 0; step < STEPS; step++)
                track_one(&track, &bed, (int)(story >> (2 * step) & 3), (uint32_t)(100 * step + 100), &on_running);
            cases++;
        }
    }
}

/* ---- budgets ------------------------------------------------------------------------------------------------ */

static uint32_t now_tick;

void port_shift(void *world, uint16_t coils)
{
    (void)world;
    (void)coils;
}

void port_latch(void *world)
{
    (void)world;
}

void port_enable(void *world, bool on)
{
    (void)world;
    (void)on;
}

void port_lamp(void *world, bool on)
{
    (void)world;
    (void)on;
}

uint32_t port_ticks(void *world)
{
    (void)world;
    return now_tick;
}

/* A coil that is on from one tick of two beats to another, over and over, switched as the edge interrupt does it. A change
 * on the tick of a beat comes before the beat or after it. The main loop notes it at once or `late`, after the next
 * beat. No time may be missing from the budget. */
static void rock(const struct bed *bed, uint32_t on_at, uint32_t off_at, bool before, bool late)
{
    struct drive drive;
    struct notes notes;
    long exact = 0;
    uint32_t changed_at = 0;
    bool on = false;
    bool unnoted = false;
    drive_start(&drive, NULL);
    drive_set_bed(&drive, bed);
    drive_beat(&drive, 0);
    for (now_tick = 1; now_tick < 24 * BEAT_TICKS; now_tick++) {
        bool due = now_tick % (2 * BEAT_TICKS) == (on ? off_at : on_at);
        bool beat = now_tick % BEAT_TICKS == 0;
        for (int part = 0; part < 2; part++) {
            if (due && (part == 0) == before) {
                long since = beat && before ? BEAT_TICKS : now_tick % BEAT_TICKS;
                if (unnoted)
                    drive_put(&drive, on, changed_at);
                on = !on;
                exact += SIXTEENTHS * (on ? -since : since);
                drive_prepare(&drive, on, PIN_A);
                assert(drive_edge(&drive, &notes, PIN_A, (uint16_t)now_tick));
                drive.edges.taken = drive.edges.noted;
                changed_at = now_tick;
                unnoted = true;
            }
            if (part == 0 && beat) {
                exact += on ? drive.up : -drive.down;
                exact = exact < 0 ? 0 : exact;
                drive_beat(&drive, (uint16_t)now_tick);
            }
        }
        if (unnoted && (!late || beat)) {
            drive_put(&drive, on, changed_at);
            unnoted = false;
        }
        if (!unnoted) {
            long over = drive_budget(&drive, 0) - exact; /* what the beat took for less than nothing */
            assert(over >= 0 && over <= (late || before ? SIXTEENTHS * BEAT_TICKS : 0));
        }
    }
    cases++;
}

static void rock_all(void)
{
    static const uint32_t on_ticks[] = {0, 1, 2, 100, 248, 249, 250, 251, 400, 499};
    static const uint32_t for_ticks[] = {10, 100, 240, 249, 250, 251, 260, 400, 490}; /* edges are no closer */
    struct bed bed;
    memset(&bed, 0, sizeof bed);
    bed.limit_ms = LIMIT_MS_MAX;
    for (bed.duty = 1; bed.duty < SIXTEENTHS; bed.duty++)
        for (unsigned on = 0; on < sizeof on_ticks / sizeof on_ticks[0]; on++)
            for (unsigned lit = 0; lit < sizeof for_ticks / sizeof for_ticks[0]; lit++)
                for (int how = 0; how < 4; how++)
                    rock(&bed, on_ticks[on], (on_ticks[on] + for_ticks[lit]) % (2 * BEAT_TICKS), how & 1, how & 2);
}

int main(void)
{
    select_all();
    track_all();
    rock_all();
    printf("%lu cases\n", cases);
    return 0;
}
