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

void track_start(struct track *track, uint8_t pins)
{
    memset(track, 0, sizeof *track);
    track->pins = pins;
    track->shortest = UINT16_MAX;
    track_forget_edge(track);
}

void track_run(struct track *track, uint8_t steps, uint8_t pins, uint16_t tick_low, uint16_t shortest)
{
    if (shortest < track->shortest)
        track->shortest = shortest;
    if (steps == 0)
        return;
    track->pins = pins;
    track->tick += (uint16_t)(tick_low - (uint16_t)track->tick);
    track->count = (int16_t)(track->rightward ? track->count + steps : track->count - steps);
    track->edges += steps;
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

void track_forget_edge(struct track *track)
{
    track->moving = false;
    track->interval = INTERVAL_MAX;
}

void track_lose(struct track *track)
{
    track->certain = false;
    track_forget_edge(track);
}

static uint16_t interval_to(const struct track *track, uint32_t tick, bool rightward)
{
    uint32_t gone = tick - track->tick;
    if (!track->moving || rightward != track->rightward || gone > INTERVAL_MAX)
        return INTERVAL_MAX;
    return (uint16_t)gone;
}

static bool within(int16_t off, uint8_t tolerance)
{
    return off <= tolerance && off >= -(int16_t)tolerance;
}

/* A sensor on the side to which the carriage moves sets the count, or finds it wrong. */
static struct verdict sensor_reached(struct track *track, const struct bed *bed, int16_t place)
{
    int16_t off = (int16_t)((uint16_t)track->count - (uint16_t)place);
    if (!track->certain) {
        track->certain = true;
        track->count = place;
        track_stretch_begin(track);
        return all_well();
    }
    if (!within(off, bed->tolerance))
        return wrong(FAULT_SENSOR_DISAGREES, (uint16_t)off);
    track->correction = (int8_t)(off > 127 ? 127 : off < -128 ? -128 : off);
    track->count = place;
    return all_well();
}

/* A sensor that goes on while the carriage moves away from that end tells nothing, unless it should
 * not be there at all. */
static struct verdict sensor_left(const struct track *track, const struct bed *bed, int16_t place)
{
    int16_t off = (int16_t)((uint16_t)track->count - (uint16_t)place);
    if (track->certain && !within(off, bed->tolerance))
        return wrong(FAULT_SENSOR_DISAGREES, (uint16_t)off);
    return all_well();
}

static struct verdict sensors_read(struct track *track, const struct bed *bed, uint8_t before, uint8_t pins,
                                   bool rightward)
{
    uint8_t went_on = (uint8_t)(before & (uint8_t)~pins);
    if ((went_on & PIN_LEFT) != 0)
        count_up(&track->left_on);
    if ((went_on & PIN_RIGHT) != 0)
        count_up(&track->right_on);
    if ((pins & (PIN_LEFT | PIN_RIGHT)) == 0)
        return wrong(FAULT_BOTH_SENSORS, pins);
    if ((went_on & PIN_LEFT) != 0)
        return rightward ? sensor_left(track, bed, bed->left_sensor) : sensor_reached(track, bed, bed->left_sensor);
    if ((went_on & PIN_RIGHT) != 0)
        return rightward ? sensor_reached(track, bed, bed->right_sensor) : sensor_left(track, bed, bed->right_sensor);
    return all_well();
}

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
static enum step_kind place_step(struct track *track, const struct bed *bed, uint8_t before, struct step *step)
{
    bool was_certain = track->certain;
    step_count(track, step->rightward);
    step->verdict = sensors_read(track, bed, before, track->pins, step->rightward);
    if (step->verdict.fault != FAULT_NONE || !track->certain)
        return STEP_LOST;
    if (track->count < bed->left_sensor - bed_beyond(bed) || track->count > bed->right_sensor + bed_beyond(bed)) {
        step->verdict = wrong(FAULT_OFF_THE_BED, 0);
        return STEP_LOST;
    }
    if (was_certain)
        stretch_include(track, step->from);
    stretch_include(track, track->count);
    return STEP_PLACED;
}

static void broken(struct track *track, const struct bed *bed, uint8_t before, struct step *step)
{
    count_up(&track->impossible);
    track_forget_edge(track);
    step->kind = STEP_BROKEN;
    if (bed_is_set(bed))
        step->verdict = wrong(FAULT_IMPOSSIBLE_STEP, (uint16_t)(before * 16 + track->pins));
}

struct step track_edge(struct track *track, const struct bed *bed, uint8_t pins, uint32_t tick)
{
    uint8_t before = track->pins;
    int8_t way = ways[(before & PINS_AB) << 2 | (pins & PINS_AB)];
    struct step step;
    step.kind = STEP_NONE;
    step.rightward = way == RIGHT;
    step.from = track->count;
    step.verdict = all_well();
    ASSURE(pins < 16);
    if (way == STAY)
        return step;
    track->pins = pins;
    if (way == BROKEN) {
        broken(track, bed, before, &step);
        return step;
    }
    track->interval = interval_to(track, tick, step.rightward);
    if (track->interval < track->shortest)
        track->shortest = track->interval;
    track->edges++;
    if (track->moving && track->rightward != step.rightward)
        count_up(&track->reversals);
    track->tick = tick;
    track->moving = true;
    track->rightward = step.rightward;
    step.kind = STEP_LOST;
    if (bed_is_set(bed))
        step.kind = place_step(track, bed, before, &step);
    return step;
}
