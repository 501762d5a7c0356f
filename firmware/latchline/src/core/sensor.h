/* One sensor along the bed and what it says of the position (docs/protocol.md section 5). */
#ifndef LATCHLINE_SENSOR_H
#define LATCHLINE_SENSOR_H

#include <stdbool.h>
#include <stdint.h>

#include "bed.h"
#include "faults.h"

enum { SENSOR_LEFT, SENSOR_RIGHT, SENSOR_MIDDLE };

struct sensor {
    uint8_t number; /* SENSOR_LEFT to SENSOR_MIDDLE */
    uint8_t pin;
    bool rightward; /* its way */
    int16_t place;
    int16_t other;  /* place of the middle one for the other way */
    uint8_t tolerance;
    uint8_t hysteresis;
    int16_t last_on;     /* position at the last edge at which it was on, */
    bool ever_on;        /* if there was one, */
    bool last_of_way;    /* and whether that edge was of its way */
    int16_t first;       /* where it came on */
    bool has_first;
    bool told;
    bool due;
};

/* One edge, as a sensor sees it. */
struct sensor_edge {
    int16_t position; /* after it */
    bool rightward;
    bool straight;    /* the edge before had the same direction */
    bool on;
    bool was;
};

enum sensor_event {
    SENSOR_SAYS_NOTHING,
    SENSOR_MAKES_CERTAIN, /* the position becomes `value` */
    SENSOR_DEVIATES,      /* `value`: the count minus its place */
    SENSOR_FAULT
};

struct sensor_says {
    int16_t value;          /* with SENSOR_MAKES_CERTAIN and SENSOR_DEVIATES */
    struct verdict verdict; /* with SENSOR_FAULT */
};

void sensor_start(struct sensor *sensor, const struct bed *bed, uint8_t number);
void sensor_forget(struct sensor *sensor);

/* Of enum sensor_event; what goes with it into `what`. */
uint8_t sensor_edge(struct sensor *sensor, const struct sensor_edge *edge, bool certain, struct sensor_says *what);

/* Another one has made the position certain. */
void sensor_certain_at(struct sensor *sensor, int16_t position);

/* An edge of a run at which it was on. */
void sensor_still_on(struct sensor *sensor, int16_t position, bool rightward);

/* Off at an edge, or after a run, with the place not known: a touch far behind says nothing of the next one. */
void sensor_left(struct sensor *sensor, int16_t position);

/* May it switch without an edge with the carriage here? */
bool sensor_may_change_at(const struct sensor *sensor, int16_t position, bool passing);

/* Narrows `low` and `high`, both excluded, to where edges at which it stays as it is (`on`) mean nothing to it. False:
 * every edge does. Only while the position is certain. */
bool sensor_quiet(const struct sensor *sensor, int16_t position, bool on, int16_t *low, int16_t *high);

#endif
