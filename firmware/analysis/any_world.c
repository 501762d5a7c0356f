/* The pure parts of the core with whatever the protocol allows, for Frama-C's value analysis with the chip's 16-bit int:
 * `make -C firmware analysis`. Each function is called once, from any state whose parts lie within their limits; it
 * must raise no alarm, and leave the state within the same limits. So what holds for one call holds for any number. The
 * sources are included, because the functions are their own business. */
#include "../latchline/src/core/bed.c"
#include "../latchline/src/core/sensor.c"
#include "../latchline/src/core/track.c"
#include "../latchline/src/core/select.c"

#include "__fc_builtin.h"

/* As far as a certain position goes before fault 14, and one edge more. */
#define BEYOND (OFF_THE_BED_NEEDLES * EDGES_PER_NEEDLE_MAX + 1)
#define Q_MOST (RIGHT_SENSOR_MAX + BEYOND)
#define REACH_MOST (TOLERANCE_MOST + 2 * EDGES_PER_NEEDLE_MAX)
#define POINT_MOST (Q_MOST + 255 + EDGES_PER_NEEDLE_MAX)

static int16_t any(int least, int most)
{
    return (int16_t)Frama_C_interval(least, most);
}

static uint8_t any_u8(int least, int most)
{
    return (uint8_t)Frama_C_interval(least, most);
}

static bool either(void)
{
    return Frama_C_interval(0, 1) != 0;
}

static uint16_t any_u16(void)
{
    return (uint16_t)Frama_C_unsigned_int_interval(0, 65535U);
}

static uint32_t any_u32(void)
{
    return Frama_C_unsigned_long_interval(0, 0xFFFFFFFFUL);
}

static void any_bed(struct bed *bed)
{
    bed->needles = (uint16_t)any(2, NEEDLES_MAX);
    bed->edges_per_needle = any_u8(1, EDGES_PER_NEEDLE_MAX);
    bed->left_sensor = any(LEFT_SENSOR_MIN, -1);
    bed->right_sensor = any(1, RIGHT_SENSOR_MAX);
    bed->middle_left = any(LEFT_SENSOR_MIN, RIGHT_SENSOR_MAX);
    bed->middle_right = any(LEFT_SENSOR_MIN, RIGHT_SENSOR_MAX);
    bed->tolerance = any_u8(0, 255);
    bed->backing = any_u16();
    bed->bank = either();
    bed->count = any_u8(1, SELECTORS_MAX);
    bed->lead_leftward = any(-LEAD_MAX, LEAD_MAX);
    bed->lead_rightward = any(-LEAD_MAX, LEAD_MAX);
    bed->advance = any_u16();
    bed->advance_max = any_u8(1, 255);
    bed->hold = any_u8(1, 255);
    bed->active_low = either();
    bed->brisk = any_u16();
    bed->passing = either();
}

/* ---- track and its sensors -------------------------------------------------------------------------------- */

static void any_sensor(struct sensor *sensor, uint8_t number)
{
    sensor->number = number;
    sensor->pin = (uint8_t)(PIN_LEFT << number);
    sensor->rightward = number == SENSOR_MIDDLE ? either() : number == SENSOR_RIGHT;
    sensor->place = any(LEFT_SENSOR_MIN, RIGHT_SENSOR_MAX);
    sensor->other = any(LEFT_SENSOR_MIN, RIGHT_SENSOR_MAX);
    sensor->tolerance = any_u8(0, TOLERANCE_MOST);
    sensor->hysteresis = any_u8(HYSTERESIS_LEAST, 2 * EDGES_PER_NEEDLE_MAX);
    sensor->last_on = any(INT16_MIN, INT16_MAX);
    sensor->first = any(INT16_MIN, INT16_MAX);
    sensor->ever_on = either();
    sensor->last_of_way = either();
    sensor->has_first = either();
    sensor->told = either();
    sensor->due = either();
}

static void any_track(struct track *track)
{
    uint8_t at;
    track->count = any(INT16_MIN, INT16_MAX);
    track->lowest = any(INT16_MIN, INT16_MAX);
    track->highest = any(INT16_MIN, INT16_MAX);
    track->calm_low = any(INT16_MIN, INT16_MAX);
    track->calm_high = any(INT16_MIN, INT16_MAX);
    track->calm_pins = any_u8(0, 31);
    track->certain = either();
    track->rightward = either();
    track->fresh = either();
    track->pins = any_u8(0, 31);
    track->tick = any_u32();
    track->interval = any_u16();
    track->correction = (int8_t)any(-TOLERANCE_MOST, TOLERANCE_MOST);
    track->sensors_used = any_u8(SENSORS_MAX - 1, SENSORS_MAX);
    for (at = 0; at < SENSORS_MAX; at++)
        any_sensor(&track->sensors[at], at);
    track->turns = any_u8(0, 255);
    track->differing = any_u8(0, PINS_SENSORS);
    track->differing_beats = any_u8(0, BEATS_TO_JUDGE + 1);
    track->trail_length = any_u8(0, TRAIL_EDGES);
    track->trail_ways = any_u8(0, 255);
    for (at = 0; at < TRAIL_EDGES - 1; at++)
        track->times[at] = any_u16();
    track->period = any_u32();
    track->edges = any_u32();
    track->impossible = any_u16();
    track->left_on = any_u16();
    track->right_on = any_u16();
    track->reversals = any_u16();
    track->shortest = any_u16();
}

static void sensor_is_within(const struct sensor *sensor)
{
    /*@ assert LEFT_SENSOR_MIN <= sensor->place <= RIGHT_SENSOR_MAX; */
    /*@ assert LEFT_SENSOR_MIN <= sensor->other <= RIGHT_SENSOR_MAX; */
    /*@ assert sensor->tolerance <= TOLERANCE_MOST; */
    /*@ assert HYSTERESIS_LEAST <= sensor->hysteresis <= 2 * EDGES_PER_NEEDLE_MAX; */
}

static void track_is_within(const struct track *track)
{
    uint8_t at;
    /*@ assert track->pins <= 31; */
    /*@ assert track->differing_beats <= BEATS_TO_JUDGE + 1; */
    /*@ assert track->trail_length <= TRAIL_EDGES; */
    /*@ assert SENSORS_MAX - 1 <= track->sensors_used <= SENSORS_MAX; */
    /*@ assert -TOLERANCE_MOST <= track->correction <= TOLERANCE_MOST; */
    for (at = 0; at < SENSORS_MAX; at++)
        sensor_is_within(&track->sensors[at]);
}

/* A and B before and after apart, so that the way that an edge goes is known together with the count. */
static void any_edge(const struct bed *bed, uint8_t before, uint8_t after)
{
    struct track track;
    any_track(&track);
    track.pins = (uint8_t)(4 * any_u8(0, 7) + before);
    (void)track_edge(&track, bed, (uint8_t)(4 * any_u8(0, 7) + after), any_u32(), any_u8(0, WATCH_PLAN | WATCH_UNDER_WAY));
    track_is_within(&track);
}

static void any_run(void)
{
    struct track track;
    any_track(&track);
    /* a run never leads past what the quiet places allow */
    track.count = any(-Q_MOST, Q_MOST);
    track_run(&track, any_u8(0, 255), any_u8(0, PINS_AT_EDGE), any_u16(), any_u16());
    track_is_within(&track);
}

static void any_beat(const struct bed *bed)
{
    struct track track;
    int16_t low;
    int16_t high;
    any_track(&track);
    (void)track_beat(&track, bed, any_u8(0, 31), either());
    (void)track_quiet(&track, &low, &high);
    track_lose(&track);
    track_stretch_begin(&track);
    track_is_within(&track);
    track_set_bed(&track, bed);
    track_is_within(&track);
}

/* ---- select ----------------------------------------------------------------------------------------------- */

static void any_mark(struct mark *mark, uint8_t count)
{
    mark->index = any_u8(0, 255);
    mark->needle = any_u8(0, 255);
    mark->selector = any_u8(0, count - 1);
    mark->point = any(-POINT_MOST, POINT_MOST);
}

static void mark_is_within(const struct mark *mark)
{
    /*@ assert -POINT_MOST <= mark->point <= POINT_MOST; */
    /*@ assert mark->selector < SELECTORS_MAX; */
}

static void any_select(struct select *select, bool rightward, bool bank, uint8_t count)
{
    static uint8_t mask[MASK_BYTES];
    uint8_t at;
    for (at = 0; at < MASK_BYTES; at++)
        mask[at] = any_u8(0, 255);
    select->mask = mask;
    select->rightward = rightward;
    select->bank = bank;
    select->active_low = either();
    select->count = count;
    select->apart = any_u8(1, EDGES_PER_NEEDLE_MAX);
    select->used = any_u8(1, 255);
    select->hold = any_u8(1, 255);
    select->advance_max = any_u8(1, 255);
    select->acting = any_u16();
    select->at = any(INT16_MIN, INT16_MAX);
    select->chosen = any_u16();
    select->revived = any_u16();
    select->met = any_u8(0, 255);
    any_mark(&select->behind, count);
    any_mark(&select->ahead, count);
    any_mark(&select->next, count);
}

static void any_pass(bool rightward, bool bank, uint8_t count)
{
    static uint32_t changed_at[SELECTORS_MAX];
    static uint8_t driven[MASK_BYTES];
    struct select select;
    struct standing standing;
    int16_t q = any(-Q_MOST, Q_MOST);
    any_select(&select, rightward, bank, count);
    standing.latched = any_u16();
    standing.resting = any_u16();
    standing.changed_at = changed_at;
    standing.tick = any_u32();
    (void)select_edge(&select, q);
    select_revive(&select, any_u16(), any_u16());
    (void)select_drive(&select, q, &standing, driven);
    (void)select_coming(&select, (int16_t)(q + 1), any(-RIGHT_SENSOR_MAX, RIGHT_SENSOR_MAX));
    (void)select_needle(&select, q);
    (void)select_furthest(&select);
    mark_is_within(&select.behind);
    mark_is_within(&select.ahead);
    mark_is_within(&select.next);
}

static void any_beginning(const struct bed *bed, bool rightward)
{
    struct plan plan;
    struct slot slot;
    struct select select;
    plan.first_needle = any_u8(0, 254);
    plan.last_needle = any_u8(0, 254);
    slot.rightward = rightward;
    select_begin(&select, bed, &plan, &slot);
    mark_is_within(&select.next);
}

int main(void)
{
    struct bed bed;
    uint8_t one;
    uint8_t other;
    any_bed(&bed);
    for (one = 0; one < 4; one++) {
        for (other = 0; other < 4; other++)
            any_edge(&bed, one, other);
    }
    any_run();
    any_beat(&bed);
    for (one = 1; one <= SELECTORS_MAX; one++) {
        any_pass(true, true, one);
        any_pass(false, true, one);
    }
    any_pass(true, false, 2);
    any_pass(false, false, 2);
    any_beginning(&bed, true);
    any_beginning(&bed, false);
    return 0;
}
