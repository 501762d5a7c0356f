/* Where the carriage is: encoder and sensors to a step, a place, and whether it can be trusted
 * (docs/protocol.md section 5). Pure: what it is told is all that it knows. */
#ifndef LATCHLINE_TRACK_H
#define LATCHLINE_TRACK_H

#include <stdbool.h>
#include <stdint.h>

#include "bed.h"
#include "faults.h"
#include "sensor.h"

#define NO_PERIOD UINT32_MAX

struct track {
    int16_t count;
    int16_t lowest;  /* of the stretch that `furthest` tells of */
    int16_t highest;
    bool certain;
    bool rightward;  /* direction of the edge before */
    bool fresh;      /* the next edge has no edge before it to be compared with */
    uint8_t pins;    /* at the edge before */
    uint32_t tick;   /* of the edge before */
    uint16_t interval;
    int8_t correction;
    struct sensor sensors[SENSORS_MAX];
    uint8_t sensors_used;
    int16_t calm_low;  /* between these, both excluded, sensors that stay as they are mean nothing: */
    int16_t calm_high;
    uint8_t calm_pins;
    uint8_t turns;   /* reversals running */
    uint8_t differing;       /* sensors that have changed without an edge, */
    uint8_t differing_beats; /* and for how many beats running */
    /* of the newest edges, but for those of a run */
    uint8_t trail_length;    /* up to TRAIL_EDGES */
    uint8_t trail_ways;      /* bit 0: the newest went rightward; bit 1: the one before … */
    uint16_t times[TRAIL_EDGES - 1]; /* from edge to edge, at most INTERVAL_MAX, the newest first */
    uint32_t period;         /* at this edge; NO_PERIOD */
    /* for COUNTS */
    uint32_t edges;
    uint16_t impossible;
    uint16_t left_on;
    uint16_t right_on;
    uint16_t reversals;
    uint16_t shortest;
};

enum step_kind {
    STEP_NONE,   /* a pulse that was gone before it could be read */
    STEP_BROKEN, /* both channels at once */
    STEP_LOST,   /* a step, but to where is not known, or a fault */
    STEP_PLACED  /* a step to a certain place */
};

struct step {
    uint8_t kind; /* of enum step_kind */
    bool rightward;
    int16_t from; /* count before it */
    struct verdict verdict;
};

/* What bears on how closely the encoder is watched. */
enum watchfulness { WATCH_PLAN = 1, WATCH_UNDER_WAY = 2 };

void track_start(struct track *track, uint8_t pins);
void track_set_bed(struct track *track, const struct bed *bed);
struct step track_edge(struct track *track, const struct bed *bed, uint8_t pins, uint32_t tick, uint8_t watchfulness);

/* `steps` like edges, the latest with these pins at this tick, that needed no closer look. */
void track_run(struct track *track, uint8_t steps, uint8_t pins, uint16_t tick_low, uint16_t shortest);

/* Between which counts, both excluded, edges with the sensors as they are mean nothing to them. False: every edge
 * does. */
bool track_quiet(const struct track *track, int16_t *low, int16_t *high);

/* On the beat, with the pins as they are. */
struct verdict track_beat(struct track *track, const struct bed *bed, uint8_t pins, bool planned);

void track_lose(struct track *track);
void track_forget_edge(struct track *track);
void track_stretch_begin(struct track *track);

/* The pins as the board heeds them: a middle sensor that is not there is off. */
uint8_t track_pins(const struct track *track, uint8_t pins);

/* A and B one step on. */
uint8_t track_pins_after(uint8_t pins, bool rightward);

#endif
