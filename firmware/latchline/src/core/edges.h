/* Edges between the interrupt that sees them and the main loop that deals with them.
 *
 * Away from the lines, with no pass under way, an edge has no more to do than to count. The main loop says how
 * many such edges there is room for: a run. The interrupt counts a run's edges by itself; the first edge
 * that is not one of it is noted, and so are all after it, in their order, until the main loop has caught up.
 * The interrupt writes `noted` and, while `counting`, the run; the main loop everything else. */
#ifndef LATCHLINE_EDGES_H
#define LATCHLINE_EDGES_H

#include <stdbool.h>
#include <stdint.h>

#include "limits.h"
#include "ports.h"

struct edges {
    volatile uint8_t next;      /* pins of the edge that is awaited, by a run or by a prepared output; or NO_PINS */
    volatile uint8_t counting;  /* 1: the interrupt may count the run */
    volatile uint8_t pins;      /* at the run's latest edge */
    volatile uint8_t room;      /* edges that the run still has room for */
    volatile uint16_t tick;     /* of the run's latest edge, low half */
    volatile uint16_t shortest; /* interval in the run since it was last asked for */
    volatile uint8_t noted;
    volatile uint8_t taken;
    volatile uint8_t overrun;   /* 1: edges came that there was no place for */
    uint8_t given;              /* room that the run was given when it was last asked for */
};

/* Pins and the two halves of the tick's low half, in three rows. Apart from the struct, because the chip wants them
 * at an address of its own. */
struct notes {
    volatile uint8_t pins[NOTES];
    volatile uint8_t tick_low[NOTES];
    volatile uint8_t tick_high[NOTES];
};

static inline void edges_start(struct edges *edges)
{
    edges->next = NO_PINS;
    edges->counting = 0;
    edges->room = 0;
    edges->given = 0;
    edges->shortest = UINT16_MAX;
    edges->noted = 0;
    edges->taken = 0;
    edges->overrun = 0;
}

/* One edge of a run. In steady motion A and B change in turn, whatever the direction: two edges on, both have. */
static inline void edges_count(struct edges *edges, uint8_t pins, uint16_t tick)
{
    uint16_t interval = (uint16_t)(tick - edges->tick);
    uint8_t room = (uint8_t)(edges->room - 1);
    edges->tick = tick;
    if (interval < edges->shortest)
        edges->shortest = interval;
    edges->next = room == 0 ? NO_PINS : (uint8_t)(edges->pins ^ PINS_AB);
    edges->pins = pins;
    edges->room = room;
}

/* An edge for the main loop. False: there is no place left, and what follows cannot be trusted. */
static inline bool edges_note(struct edges *edges, struct notes *notes, uint8_t pins, uint16_t tick)
{
    uint8_t at = edges->noted;
    uint8_t after = (uint8_t)(at + 1) & (NOTES - 1);
    edges->counting = 0; /* later edges must not overtake this one */
    if (after == edges->taken) {
        edges->overrun = 1;
        return false;
    }
    notes->pins[at] = pins;
    notes->tick_low[at] = (uint8_t)tick;
    notes->tick_high[at] = (uint8_t)(tick >> 8);
    edges->noted = after;
    return true;
}

static inline bool edges_waiting(const struct edges *edges)
{
    return edges->noted != edges->taken || edges->overrun != 0;
}

/* An edge that waited only because others did is counted at little cost; so the main loop catches up. */
static inline bool edges_take_run(struct edges *edges, uint8_t pins, uint16_t tick)
{
    if (pins != edges->next || edges->room == 0)
        return false;
    edges_count(edges, pins, tick);
    return true;
}

#endif
