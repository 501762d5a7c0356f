/* Edges between the interrupt that sees them and the main loop that deals with them.
 *
 * Away from the lines, with no pass under way, an edge has no more to do than to count. The main loop says how
 * many such edges there is room for: a run. The interrupt counts a run's edges by itself; the first edge
 * that is not one of it is noted, and so are all after it, in their order, until the main loop has caught up.
 * The interrupt owns `noted` and, while it awaits an edge of the run, the run; the main loop owns the rest. */
#ifndef LATCHLINE_EDGES_H
#define LATCHLINE_EDGES_H

#include <stdbool.h>
#include <stdint.h>

#include "limits.h"
#include "lock.h"
#include "ports.h"

struct edges {
    volatile uint8_t awaited;   /* pins of the edge that latches what is ready or, if nothing is, counts; or NO_PINS.
                                 * Here and in a run only those of PINS_AT_EDGE. */
    volatile uint8_t pins;      /* at the run's latest edge */
    volatile uint8_t room;      /* edges that the run still has room for */
    volatile uint16_t tick;     /* of the run's latest edge, low half */
    volatile uint16_t shortest; /* interval in the run since it was last asked for */
    volatile uint8_t noted;
    volatile uint8_t taken;
    volatile uint8_t overrun;   /* 1: edges came that there was no place for */
    uint8_t given;              /* room that the run was given when it was last asked for */
};

/* A ring of notes: pins, and the low half of the tick, low byte first. `noted` and `taken` count its bytes. */
struct notes {
    volatile uint8_t bytes[NOTES * NOTE_BYTES];
};

static inline uint8_t notes_after(uint8_t at)
{
    at = (uint8_t)(at + NOTE_BYTES);
    return at == NOTES * NOTE_BYTES ? 0 : at;
}

static inline uint8_t notes_pins(const struct notes *notes, uint8_t at)
{
    return notes->bytes[at];
}

static inline void edges_start(struct edges *edges)
{
    edges->awaited = NO_PINS;
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
    uint8_t next = edges->pins ^ PINS_AB;
    uint8_t room = (uint8_t)(edges->room - 1);
    edges->tick = tick;
    if (interval < edges->shortest)
        edges->shortest = interval;
    edges->pins = pins;
    edges->room = room;
    edges->awaited = room == 0 ? NO_PINS : next;
}

/* An edge for the main loop. False: there is no place left, and what follows cannot be trusted. */
static inline bool edges_note(struct edges *edges, struct notes *notes, uint8_t pins, uint16_t tick)
{
    uint8_t at = edges->noted;
    uint8_t after = notes_after(at);
    edges->awaited = NO_PINS; /* later edges must not overtake this one */
    if (after == edges->taken) {
        edges->overrun = 1;
        return false;
    }
    notes->bytes[at] = pins;
    notes->bytes[at + 1] = (uint8_t)tick;
    notes->bytes[at + 2] = (uint8_t)(tick >> 8);
    edges->noted = after;
    return true;
}

static inline uint16_t notes_tick(const struct notes *notes, uint8_t at)
{
    const volatile uint8_t *note = notes->bytes + at;
    return (uint16_t)(note[1] | note[2] << 8);
}

static inline bool edges_waiting(const struct edges *edges)
{
    return edges->noted != edges->taken; /* so it is when there is no place left */
}

/* Counts the edges that wait, up to the first that is not of the run, whose coming edge is `next`. */
static inline uint8_t edges_catch_up(struct edges *edges, const struct notes *notes, uint8_t next)
{
    uint8_t at = edges->taken;
    uint8_t before = edges->pins;
    uint8_t room = edges->room;
    uint16_t tick = edges->tick;
    uint16_t shortest = edges->shortest;
    while (room != 0 && at != edges->noted) {
        uint8_t pins = notes_pins(notes, at) & PINS_AT_EDGE;
        uint16_t now;
        uint16_t interval;
        if ((uint8_t)(pins ^ next) != 0)
            break;
        now = notes_tick(notes, at);
        interval = (uint16_t)(now - tick);
        if (interval < shortest)
            shortest = interval;
        tick = now;
        next = before ^ PINS_AB;
        before = pins;
        room--;
        at = notes_after(at);
        edges->taken = at;
    }
    edges->pins = before;
    edges->room = room;
    edges->tick = tick;
    edges->shortest = shortest;
    return next;
}

/* Edges that waited only because others did are counted at little cost, and when none waits any more the
 * interrupt goes on with the run by itself. It awaits no edge of the run until then. False when the run has ended,
 * or when the edge that waits is not one of it. */
static inline bool edges_resume_run(struct edges *edges, const struct notes *notes, uint8_t next)
{
    while (edges->room != 0) {
        bool caught_up;
        lock_state lock;
        next = edges_catch_up(edges, notes, next);
        lock = lock_take();
        caught_up = edges->noted == edges->taken;
        if (caught_up && edges->room != 0)
            edges->awaited = next;
        lock_give(lock);
        if (caught_up)
            return edges->room != 0;
        if ((notes_pins(notes, edges->taken) & PINS_AT_EDGE) != next)
            return false;
    }
    return false;
}

#endif
