/* Where the carriage is: encoder and end sensors to a step, a place, and whether it can be trusted
 * (docs/protocol.md section 5). Pure: what it is told is all that it knows. */
#ifndef LATCHLINE_TRACK_H
#define LATCHLINE_TRACK_H

#include <stdbool.h>
#include <stdint.h>

#include "bed.h"
#include "faults.h"

struct track {
    int16_t count;
    int16_t lowest;  /* of the stretch that `furthest` tells of */
    int16_t highest;
    bool certain;
    bool rightward;  /* direction of the edge before */
    bool moving;     /* there was an edge before that the next one's interval may be measured from */
    uint8_t pins;    /* at the edge before */
    uint32_t tick;   /* of the edge before */
    uint16_t interval;
    int8_t correction;
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

void track_start(struct track *track, uint8_t pins);
struct step track_edge(struct track *track, const struct bed *bed, uint8_t pins, uint32_t tick);

/* `steps` like edges, the latest with these pins at this tick, that needed no closer look. */
void track_run(struct track *track, uint8_t steps, uint8_t pins, uint16_t tick_low, uint16_t shortest);

void track_lose(struct track *track);
void track_forget_edge(struct track *track);
void track_stretch_begin(struct track *track);

/* A and B one step on. */
uint8_t track_pins_after(uint8_t pins, bool rightward);

#endif
