#include "sensor.h"

#include <string.h>

#include "assure.h"
#include "ports.h"

void sensor_start(struct sensor *sensor, const struct bed *bed, uint8_t number)
{
    memset(sensor, 0, sizeof *sensor);
    sensor->number = number;
    sensor->pin = (uint8_t)(PIN_LEFT << number);
    sensor->rightward = number != SENSOR_LEFT;
    sensor->place = number == SENSOR_LEFT ? bed->left_sensor
                    : number == SENSOR_RIGHT ? bed->right_sensor
                                             : bed->middle_left;
    sensor->other = bed->middle_right;
    sensor->tolerance = bed_tolerance(bed);
    sensor->hysteresis = bed_hysteresis(bed);
}

static bool is_end(const struct sensor *sensor)
{
    return sensor->number != SENSOR_MIDDLE;
}

void sensor_forget(struct sensor *sensor)
{
    sensor->has_first = false;
    sensor->told = false;
    sensor->due = false;
}

/* From one position to another along a way. Uncertain positions may lie further apart than 16 bits tell; so far is far
 * enough. */
static int16_t along(bool rightward, int16_t from, int16_t to)
{
    int16_t way = (int16_t)(uint16_t)((uint16_t)to - (uint16_t)from);
    if ((to < from) != (way < 0))
        way = to < from ? -INT16_MAX : INT16_MAX;
    if (way == INT16_MIN)
        way = -INT16_MAX;
    return rightward ? way : (int16_t)-way;
}

static int16_t depth(const struct sensor *sensor, int16_t position)
{
    return along(sensor->rightward, sensor->place, position);
}

/* Is its depth more than so many edges? */
static bool is_deeper(const struct sensor *sensor, int16_t position, int8_t edges)
{
    return sensor->rightward ? position > sensor->place + edges : position < sensor->place - edges;
}

static int8_t reach(const struct sensor *sensor)
{
    return (int8_t)(sensor->tolerance + sensor->hysteresis);
}

/* So far before the sensor that it must come on anew. Turns the middle one about. */
static bool inward(struct sensor *sensor, int16_t position)
{
    int16_t inner;
    if (!is_deeper(sensor, position, (int8_t)(-reach(sensor) - 1)))
        return true;
    inner = (int16_t)-reach(sensor);
    if (is_end(sensor) || along(!sensor->rightward, sensor->other, position) >= inner)
        return false;
    {
        int16_t place = sensor->place;
        sensor->place = sensor->other;
        sensor->other = place;
        sensor->rightward = !sensor->rightward;
    }
    return true;
}

static uint8_t says(struct sensor_says *what, enum sensor_event event, int16_t value)
{
    what->value = value;
    return (uint8_t)event;
}

static uint8_t faulty(struct sensor_says *what, enum fault_number fault, int16_t detail)
{
    what->verdict = wrong(fault, (uint16_t)detail);
    return SENSOR_FAULT;
}

static bool is_near(int16_t off, uint8_t tolerance)
{
    return off <= tolerance && off >= -(int16_t)tolerance;
}

static int16_t before_step(const struct sensor_edge *edge)
{
    return (int16_t)(edge->rightward ? edge->position - 1 : edge->position + 1);
}

/* Was it last on shortly before here, on the same way? */
static bool bounced(const struct sensor *sensor, int16_t position)
{
    int16_t since = along(sensor->rightward, sensor->last_on, position);
    return sensor->ever_on && sensor->last_of_way && since > 0 && since < sensor->hysteresis;
}

void sensor_left(struct sensor *sensor, int16_t position)
{
    if (along(sensor->rightward, sensor->last_on, position) <= -(int16_t)sensor->hysteresis)
        sensor->ever_on = false;
}

static uint8_t while_uncertain(struct sensor *sensor, const struct sensor_edge *edge, struct sensor_says *what)
{
    bool of_way = edge->rightward == sensor->rightward;
    int16_t off;
    if (!edge->on)
        sensor_left(sensor, edge->position);
    if (!edge->on || !is_end(sensor))
        return SENSOR_SAYS_NOTHING;
    if (!edge->was) {
        sensor->told = false;
        if (!of_way) {
            sensor->has_first = false;
        } else if (!bounced(sensor, edge->position)) {
            sensor->first = edge->position;
            sensor->has_first = true;
        }
        return SENSOR_SAYS_NOTHING;
    }
    if (sensor->told || !sensor->has_first || !of_way || !edge->straight)
        return SENSOR_SAYS_NOTHING;
    sensor->told = true;
    off = along(true, sensor->first, before_step(edge));
    if (!is_near(off, sensor->tolerance))
        return faulty(what, FAULT_SENSOR_BOUNCES, sensor->number);
    sensor->due = false;
    off = (int16_t)(edge->rightward ? off + 1 : off - 1);
    return says(what, SENSOR_MAKES_CERTAIN, (int16_t)(sensor->place + off));
}

static void comes_on(struct sensor *sensor, const struct sensor_edge *edge)
{
    int16_t since = along(sensor->rightward, sensor->last_on, edge->position);
    bool away = !sensor->ever_on || since >= sensor->hysteresis;
    if (sensor->due) {
        if (!sensor->has_first)
            sensor->first = edge->position;
        sensor->has_first = true;
    } else if (is_end(sensor) && edge->rightward == sensor->rightward &&
               is_deeper(sensor, edge->position, (int8_t)sensor->tolerance) && away) {
        sensor->told = false;
        sensor->first = edge->position;
        sensor->has_first = true;
    } else {
        sensor->told = true;
    }
}

/* On at two edges running: now it counts. */
static uint8_t tells(struct sensor *sensor, const struct sensor_edge *edge, struct sensor_says *what)
{
    int16_t first = along(true, sensor->place, sensor->has_first ? sensor->first : edge->position);
    int16_t sure = along(true, sensor->place, before_step(edge));
    sensor->told = true;
    if (!sensor->due)
        return faulty(what, FAULT_SENSOR_DISAGREES, first);
    sensor->due = false;
    if (is_near(first, sensor->tolerance))
        return says(what, SENSOR_DEVIATES, first);
    if (is_near(sure, sensor->tolerance))
        return says(what, SENSOR_DEVIATES, sure);
    return faulty(what, FAULT_SENSOR_DISAGREES, sure);
}

/* Beyond its place, and it has not been told: silent, or it bounces. */
static uint8_t overdue(const struct sensor *sensor, const struct sensor_edge *edge, struct sensor_says *what)
{
    bool near_last;
    if (!sensor->due || !is_deeper(sensor, edge->position, (int8_t)sensor->tolerance))
        return SENSOR_SAYS_NOTHING;
    near_last = sensor->ever_on &&
                is_near(along(true, sensor->last_on, edge->position), (uint8_t)(sensor->hysteresis - 1));
    if (!edge->on && !near_last)
        return faulty(what, FAULT_SENSOR_SILENT, sensor->number);
    if (is_deeper(sensor, edge->position, reach(sensor)))
        return faulty(what, FAULT_SENSOR_BOUNCES, sensor->number);
    return SENSOR_SAYS_NOTHING;
}

static uint8_t while_certain(struct sensor *sensor, const struct sensor_edge *edge, struct sensor_says *what)
{
    if (inward(sensor, edge->position)) {
        bool off_early = is_end(sensor) && sensor->told && sensor->ever_on &&
                         depth(sensor, sensor->last_on) > sensor->tolerance;
        sensor->due = true;
        sensor->told = false;
        sensor->has_first = false;
        if (off_early)
            return faulty(what, FAULT_SENSOR_DISAGREES, along(true, sensor->place, sensor->last_on));
        if (edge->on && edge->was)
            return faulty(what, FAULT_SENSOR_DISAGREES, along(true, sensor->place, edge->position));
        return SENSOR_SAYS_NOTHING;
    }
    if (edge->on && !edge->was)
        comes_on(sensor, edge);
    else if (edge->on && !sensor->told)
        return tells(sensor, edge, what);
    return overdue(sensor, edge, what);
}

void sensor_still_on(struct sensor *sensor, int16_t position, bool rightward)
{
    sensor->last_on = position;
    sensor->ever_on = true;
    sensor->last_of_way = rightward == sensor->rightward;
}

uint8_t sensor_edge(struct sensor *sensor, const struct sensor_edge *edge, bool certain, struct sensor_says *what)
{
    uint8_t event = certain ? while_certain(sensor, edge, what) : while_uncertain(sensor, edge, what);
    if (edge->on && event != SENSOR_FAULT)
        sensor_still_on(sensor, event == SENSOR_MAKES_CERTAIN ? what->value : edge->position, edge->rightward);
    return event;
}

void sensor_certain_at(struct sensor *sensor, int16_t position)
{
    sensor_forget(sensor);
    sensor->ever_on = false;
    sensor->due = inward(sensor, position);
}

bool sensor_may_change_at(const struct sensor *sensor, int16_t position, bool passing)
{
    int16_t margin = (int16_t)(sensor->tolerance + 1);
    int16_t deep = depth(sensor, position);
    if (is_end(sensor))
        return (deep >= -margin && deep < margin) ||
               (passing && sensor->ever_on && is_near(along(true, sensor->last_on, position), (uint8_t)margin));
    /* within the two places, whichever of them is the left one */
    return deep >= -margin && along(!sensor->rightward, sensor->other, position) >= -margin;
}

bool sensor_quiet(const struct sensor *sensor, int16_t position, bool on, int16_t *low, int16_t *high)
{
    int16_t inner;
    int16_t outer;
    bool inside = !is_deeper(sensor, position, (int8_t)(-reach(sensor) - 1));
    if (on && (inside || !sensor->told))
        return false;
    if (sensor->due && is_deeper(sensor, position, (int8_t)sensor->tolerance))
        return false;
    /* the first depths at which something changes on either side */
    inner = (int16_t)(-reach(sensor) - 1);
    outer = (int16_t)(sensor->tolerance + 1);
    if (sensor->rightward) {
        if (!inside && sensor->place + inner > *low)
            *low = (int16_t)(sensor->place + inner);
        if (sensor->due && sensor->place + outer < *high)
            *high = (int16_t)(sensor->place + outer);
        if (!is_end(sensor) && sensor->other - inner < *high)
            *high = (int16_t)(sensor->other - inner);
    } else {
        if (!inside && sensor->place - inner < *high)
            *high = (int16_t)(sensor->place - inner);
        if (sensor->due && sensor->place - outer > *low)
            *low = (int16_t)(sensor->place - outer);
        if (!is_end(sensor) && sensor->other + inner > *low)
            *low = (int16_t)(sensor->other + inner);
    }
    return true;
}
