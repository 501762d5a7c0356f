#include "track.h"

#include <string.h>

#include "assure.h"
#include "count.h"
#include "ports.h"

/* Step for (A, B before) x 4 + (A, B now), A being bit 0: rightward 0, 1, 3, 2, 0. */
enum { STAY = 0, RIGHT = 1, LEFT = -1, BROKEN = 2 };

static const int8_t ways[16] = {
    STAY,  RIGHT, LEFT,   BROKEN, /* from 0 to 0, 1, 2, 3 */
    LEFT,  STAY,  BROKEN, RIGHT,  /* from 1 */
    RIGHT, BROKEN, STAY,  LEFT,   /* from 2 */
    BROKEN, LEFT, RIGHT,  STAY    /* from 3 */
};

uint8_t track_pins_after(uint8_t pins, bool rightward)
{
    static const uint8_t onward[4] = {1, 3, 0, 2};
    static const uint8_t back[4] = {2, 0, 3, 1};
    return rightward ? onward[pins & PINS_AB] : back[pins & PINS_AB];
}

uint8_t track_pins(const struct track *track, uint8_t pins)
{
    return track->sensors_used < SENSORS_MAX ? pins | PIN_MIDDLE : pins;
}

void track_start(struct track *track, uint8_t pins)
{
    memset(track, 0, sizeof *track);
    track->pins = track_pins(track, pins);
    track->shortest = UINT16_MAX;
    track->period = NO_PERIOD;
    track_forget_edge(track);
}

void track_set_bed(struct track *track, const struct bed *bed)
{
    uint8_t number;
    track->sensors_used = bed_has_middle(bed) ? SENSORS_MAX : SENSORS_MAX - 1;
    for (number = 0; number < SENSORS_MAX; number++)
        sensor_start(&track->sensors[number], bed, number);
    track->certain = false;
    track->calm_high = track->calm_low;
    track->differing_beats = 0;
    track_forget_edge(track);
}

void track_stretch_begin(struct track *track)
{
    track->lowest = track->count;
    track->highest = track->count;
}

static void stretch_include(struct track *track, int16_t count)
{
    if (count < track->lowest)
        track->lowest = count;
    if (count > track->highest)
        track->highest = count;
}

/* What comes next is not compared with what came before. */
static void trail_begin(struct track *track)
{
    track->trail_length = 0;
    track->period = NO_PERIOD;
}

/* What the sensors remember of an edge, or a run, that they have no more to say of. */
static void sensors_remember(struct track *track)
{
    uint8_t number;
    for (number = 0; number < track->sensors_used; number++) {
        struct sensor *sensor = &track->sensors[number];
        if ((track->pins & sensor->pin) == 0)
            sensor_still_on(sensor, track->count, track->rightward);
        else if (!track->certain)
            sensor_left(sensor, track->count);
    }
}

void track_run(struct track *track, uint8_t steps, uint8_t pins, uint16_t tick_low, uint16_t shortest)
{
    if (shortest < track->shortest)
        track->shortest = shortest;
    if (steps == 0)
        return;
    track->pins = pins | PIN_MIDDLE;
    track->tick += (uint16_t)(tick_low - (uint16_t)track->tick);
    track->count = (int16_t)(track->rightward ? track->count + steps : track->count - steps);
    track->edges += steps;
    track->turns = 0;
    trail_begin(track);
    track->differing_beats = 0;
    stretch_include(track, track->count);
    sensors_remember(track);
}

void track_forget_edge(struct track *track)
{
    track->fresh = true;
    track->interval = INTERVAL_MAX;
    trail_begin(track);
}

static void forget_sensors(struct track *track)
{
    uint8_t number;
    for (number = 0; number < track->sensors_used; number++)
        sensor_forget(&track->sensors[number]);
}

void track_lose(struct track *track)
{
    track->certain = false;
    track->calm_high = track->calm_low;
    track_forget_edge(track);
    forget_sensors(track);
}

/* ---- the encoder itself --------------------------------------------------------------------------------- */

/* One channel alone changes: reversal upon reversal. */
static bool channel_is_dead(struct track *track, bool turned, uint16_t elapsed)
{
    if (!turned || elapsed > STOP_TICKS)
        track->turns = 0;
    else if (elapsed >= BOUNCE_TICKS)
        count_up_u8(&track->turns);
    return track->turns >= REVERSALS_MOST;
}

static void follow_trail(struct track *track, uint16_t elapsed)
{
    uint16_t *times = track->times;
    uint8_t trail = (uint8_t)(track->trail_ways << 1 | track->rightward);
    times[4] = times[3];
    times[3] = times[2];
    times[2] = times[1];
    times[1] = times[0];
    times[0] = elapsed;
    track->period = NO_PERIOD;
    track->trail_ways = trail;
    if (track->trail_length < TRAIL_EDGES)
        track->trail_length++;
    trail &= 31;
    if (track->trail_length >= PERIOD_EDGES && (trail == 0 || trail == 31))
        track->period = (uint32_t)times[0] + times[1] + times[2] + times[3];
}

/* Is this edge a second turn, or the one after it, that no hand could make so soon or at such a speed? One to three
 * edges went back. */
static bool turned_twice(const struct track *track, const struct bed *bed)
{
    const uint16_t *times = track->times;
    uint16_t left = bed->brisk > UINT16_MAX / TURN ? UINT16_MAX : (uint16_t)(TURN * bed->brisk);
    uint8_t turns = (uint8_t)(track->trail_ways ^ track->trail_ways >> 1); /* bit 0: at this edge */
    uint8_t count;
    uint8_t at;
    /* gone with one edge back, and some time later back at speed */
    if ((turns & 15) == 6 && track->trail_length > 4) {
        uint16_t longer = times[0] > times[3] ? times[0] : times[3];
        return longer <= bed->brisk / 2 && times[1] > 2 * longer;
    }
    if ((turns & 7) == 3)
        count = 3;
    else if ((turns & 15) == 5)
        count = 4;
    else if ((turns & 31) == 9)
        count = 5;
    else
        return false;
    if (track->trail_length <= count)
        return false;
    /* half a period missing, and any number of whole ones: the count goes one edge back at their end */
    if (count == 3 && times[2] <= bed->brisk / 2 && times[0] <= bed->brisk / 2 && times[1] > 2 * times[2])
        return true;
    /* both channels gone and back at almost one time, which no hand does */
    if (count == 4 && times[1] < BOUNCE_TICKS)
        return true;
    for (at = 0; at < count; at++) {
        if (times[at] >= left)
            return false;
        left = (uint16_t)(left - times[at]);
    }
    /* with one edge back, the channel that has just changed changes back: a contact may, for a moment */
    return count != 3 || (times[1] >= BOUNCE_TICKS && (uint16_t)(times[0] + times[1]) / 2 > times[2]);
}

/* The interval in which edges must have been lost, or 0. The newest three times lie between the newest four edges. */
static uint16_t gap_in_trail(const struct track *track, const struct bed *bed, bool under_way)
{
    uint8_t trail = track->trail_ways & 15;
    uint16_t longer = track->times[0] > track->times[2] ? track->times[0] : track->times[2];
    uint16_t rest = track->times[1];
    uint8_t times;
    bool leaps = track->times[0] < BOUNCE_TICKS; /* which no hand does */
    if (track->trail_length < 4 || (trail != 0 && trail != 15))
        return 0;
    if (!leaps && (longer > bed->brisk || (!under_way && rest / HALT >= longer)))
        return 0;
    for (times = 0; times < GAP; times++) {
        if (rest <= longer)
            return 0;
        rest = (uint16_t)(rest - longer);
    }
    return track->times[1];
}

/* Faults 19 and 20. */
static struct verdict encoder_read(struct track *track, const struct bed *bed, uint8_t before, bool turned,
                                   uint16_t elapsed, uint8_t watchfulness)
{
    uint16_t gap;
    bool dead = (watchfulness & WATCH_PLAN) != 0 && channel_is_dead(track, turned, elapsed);
    bool twice;
    follow_trail(track, elapsed);
    twice = turned_twice(track, bed);
    gap = gap_in_trail(track, bed, (watchfulness & WATCH_UNDER_WAY) != 0);
    if (!track->certain && (twice || gap != 0)) {
        forget_sensors(track);
        twice = false;
        gap = 0;
    }
    if (dead || twice)
        return wrong(FAULT_CHANNEL_DEAD, ((track->pins ^ before) & PIN_A) == 0);
    if (gap != 0)
        return wrong(FAULT_EDGES_MISSING, gap);
    return all_well();
}

/* ---- the sensors ---------------------------------------------------------------------------------------- */

static void now_certain(struct track *track, uint8_t by, int16_t position)
{
    uint8_t number;
    track->certain = true;
    track->count = position;
    track_stretch_begin(track);
    for (number = 0; number < track->sensors_used; number++) {
        if (number != by)
            sensor_certain_at(&track->sensors[number], position);
    }
}

static struct verdict sensors_read(struct track *track, uint8_t before, bool straight)
{
    uint8_t pins = track->pins;
    uint8_t number;
    struct sensor_edge edge;
    if (((pins | before) & PINS_ENDS) == 0)
        return wrong(FAULT_BOTH_SENSORS, pins);
    edge.position = track->count;
    edge.rightward = track->rightward;
    edge.straight = straight;
    for (number = 0; number < track->sensors_used; number++) {
        struct sensor *sensor = &track->sensors[number];
        struct sensor_says says;
        uint8_t event;
        edge.on = (pins & sensor->pin) == 0;
        edge.was = (before & sensor->pin) == 0;
        event = sensor_edge(sensor, &edge, track->certain, &says);
        if (event == SENSOR_FAULT)
            return says.verdict;
        if (event == SENSOR_MAKES_CERTAIN) {
            now_certain(track, number, says.value);
            break;
        }
        if (event == SENSOR_DEVIATES && number != SENSOR_MIDDLE)
            track->correction = (int8_t)says.value;
    }
    return all_well();
}

struct verdict track_beat(struct track *track, const struct bed *bed, uint8_t pins, bool planned)
{
    uint8_t now = track_pins(track, pins);
    uint8_t differing = (uint8_t)((now ^ track->pins) & PINS_SENSORS);
    bool strange = false;
    uint8_t number;
    if (differing != track->differing)
        track->differing_beats = 0;
    track->differing = differing;
    if (track->differing_beats <= BEATS_TO_JUDGE)
        track->differing_beats++;
    if (differing == 0 || track->differing_beats != BEATS_TO_JUDGE)
        return all_well();
    if ((now & PINS_ENDS) == 0)
        return wrong(FAULT_BOTH_SENSORS, now);
    for (number = 0; track->certain && number < track->sensors_used; number++) {
        const struct sensor *sensor = &track->sensors[number];
        if ((differing & sensor->pin) != 0 && !sensor_may_change_at(sensor, track->count, bed->passing))
            strange = true;
    }
    if (strange || ((differing & PINS_ENDS) == PINS_ENDS && (track->certain || planned)))
        return wrong(FAULT_ENCODER_SILENT, (uint16_t)((uint16_t)track->pins << 8 | now));
    return all_well();
}

/* Narrows to where the sensors as they are mean nothing. */
static bool sensors_quiet(const struct track *track, const struct bed *bed, int16_t *low, int16_t *high)
{
    uint8_t number;
    *low = (int16_t)(bed->left_sensor - bed_beyond(bed) - 1);
    *high = (int16_t)(bed->right_sensor + bed_beyond(bed) + 1);
    if ((track->pins & PINS_ENDS) == 0)
        return false; /* a fault at the next edge */
    for (number = 0; number < track->sensors_used; number++) {
        const struct sensor *sensor = &track->sensors[number];
        if (!sensor_quiet(sensor, track->count, (track->pins & sensor->pin) == 0, low, high))
            return false;
    }
    return true;
}

/* With every sensor as it was and is known to be, nothing is to be asked of them. */
static bool is_calm(const struct track *track, uint8_t before)
{
    return (((track->pins ^ track->calm_pins) | (before ^ track->calm_pins)) & PINS_SENSORS) == 0 &&
           track->count > track->calm_low && track->count < track->calm_high;
}

static void find_calm(struct track *track, const struct bed *bed)
{
    track->calm_pins = track->pins;
    if (!sensors_quiet(track, bed, &track->calm_low, &track->calm_high))
        track->calm_high = track->calm_low;
}

bool track_quiet(const struct track *track, int16_t *low, int16_t *high)
{
    *low = INT16_MIN;
    *high = INT16_MAX;
    if (track->sensors_used == SENSORS_MAX)
        return false; /* the edge interrupt does not see the middle one */
    if (!track->certain)
        return (track->pins & PINS_ENDS) == PINS_ENDS;
    if (!is_calm(track, track->pins))
        return false;
    *low = track->calm_low;
    *high = track->calm_high;
    return true;
}

/* ---- one edge ------------------------------------------------------------------------------------------- */

static void step_count(struct track *track, bool rightward)
{
    if (rightward) {
        if (track->count != INT16_MAX)
            track->count++;
    } else {
        if (track->count != INT16_MIN)
            track->count--;
    }
}

/* One real step on a bed, up to fault 14, in the order of docs/protocol.md section 5. */
static enum step_kind place_step(struct track *track, const struct bed *bed, uint8_t before, bool turned,
                                 bool straight, uint16_t elapsed, uint8_t watchfulness, struct step *step)
{
    step_count(track, step->rightward);
    step->verdict = encoder_read(track, bed, before, turned, elapsed, watchfulness);
    if (step->verdict.fault != FAULT_NONE)
        return STEP_LOST;
    if (is_calm(track, before)) {
        if ((track->pins & PINS_SENSORS) != PINS_SENSORS)
            sensors_remember(track);
    } else {
        track->calm_high = track->calm_low;
        step->verdict = sensors_read(track, before, straight);
        if (step->verdict.fault != FAULT_NONE || !track->certain)
            return STEP_LOST;
        find_calm(track, bed);
    }
    if (track->count < bed->left_sensor - bed_beyond(bed) || track->count > bed->right_sensor + bed_beyond(bed)) {
        step->verdict = wrong(FAULT_OFF_THE_BED, 0);
        return STEP_LOST;
    }
    stretch_include(track, track->count);
    return STEP_PLACED;
}

static void broken(struct track *track, const struct bed *bed, uint8_t before, struct step *step)
{
    count_up(&track->impossible);
    track_forget_edge(track);
    step->kind = STEP_BROKEN;
    if (bed_is_set(bed))
        step->verdict = wrong(FAULT_IMPOSSIBLE_STEP, (uint16_t)((uint16_t)before << 8 | track->pins));
}

static void count_sensors(struct track *track, uint8_t went_on)
{
    if ((went_on & PIN_LEFT) != 0)
        count_up(&track->left_on);
    if ((went_on & PIN_RIGHT) != 0)
        count_up(&track->right_on);
}

struct step track_edge(struct track *track, const struct bed *bed, uint8_t pins, uint32_t tick, uint8_t watchfulness)
{
    uint8_t before = track->pins;
    int8_t way = ways[(before & PINS_AB) << 2 | (pins & PINS_AB)];
    uint16_t elapsed = tick - track->tick > INTERVAL_MAX ? INTERVAL_MAX : (uint16_t)(tick - track->tick);
    bool straight;
    bool turned;
    struct step step;
    step.kind = STEP_NONE;
    step.rightward = way == RIGHT;
    step.from = track->count;
    step.verdict = all_well();
    ASSURE(pins < 32);
    if (way == STAY)
        return step;
    track->pins = track_pins(track, pins);
    track->tick = tick;
    track->differing_beats = 0;
    if (way == BROKEN) {
        broken(track, bed, before, &step);
        return step;
    }
    straight = !track->fresh && track->rightward == step.rightward;
    track->interval = straight ? elapsed : INTERVAL_MAX;
    if (track->interval < track->shortest)
        track->shortest = track->interval;
    track->edges++;
    turned = !track->fresh && !straight;
    if (turned)
        count_up(&track->reversals);
    track->fresh = false;
    track->rightward = step.rightward;
    count_sensors(track, (uint8_t)(before & (uint8_t)~track->pins));
    step.kind = STEP_LOST;
    if (bed_is_set(bed))
        step.kind = place_step(track, bed, before, turned, straight, elapsed, watchfulness, &step);
    return step;
}
