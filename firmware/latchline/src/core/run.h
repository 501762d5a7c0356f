/* A run of like edges: away from the lines, with no pass under way, an edge has no more to do than to
 * count. The core says how many such edges there is room for; the edge interrupt, or the core itself,
 * counts them here for next to nothing, and the core takes the sum. */
#ifndef LATCHLINE_RUN_H
#define LATCHLINE_RUN_H

#include <stdbool.h>
#include <stdint.h>

#define NO_PINS 0xFF
#define PINS_AB 3

struct run {
    volatile bool direct;       /* the interrupt may count; set by the port when no noted edge waits */
    volatile uint8_t next;      /* pins at which the coming edge belongs to the run; NO_PINS when none does */
    volatile uint8_t toggle;    /* which of A and B that edge changes */
    volatile uint8_t pins;      /* at the latest edge */
    volatile uint8_t steps;     /* edges counted */
    volatile uint8_t room;      /* edges at which the run ends */
    volatile uint16_t tick;     /* of the latest edge, low half */
    volatile uint16_t interval; /* before the latest edge */
    volatile uint16_t shortest;
};

/* False when the edge is not one of the run. In steady motion A and B change in turn, whatever the
 * direction, so the pins to come follow without a table. */
static inline bool run_edge(struct run *run, uint8_t pins, uint16_t tick)
{
    uint16_t interval;
    uint8_t toggle;
    uint8_t steps;
    if (pins != run->next)
        return false;
    interval = (uint16_t)(tick - run->tick);
    run->tick = tick;
    run->interval = interval;
    if (interval < run->shortest)
        run->shortest = interval;
    toggle = run->toggle ^ PINS_AB;
    run->toggle = toggle;
    run->pins = pins;
    run->next = pins ^ toggle;
    steps = (uint8_t)(run->steps + 1);
    run->steps = steps;
    if (steps == run->room)
        run->next = NO_PINS;
    return true;
}

#endif
