/* The coils: what is wanted of them, what rests, what was last put out, and the one output that is
 * prepared for the coming edge. This is the only state that interrupts and main thread share. */
#ifndef LATCHLINE_COILS_H
#define LATCHLINE_COILS_H

#include <stdbool.h>
#include <stdint.h>

#include "limits.h"
#include "run.h"

struct coils {
    volatile uint8_t expect;   /* A and B at which `coming` is to be put out at once; NO_PINS for never */
    volatile uint16_t coming;  /* register for that edge */
    volatile uint16_t latched; /* register as last put out */
    volatile uint16_t wanted;  /* register that section 7 asks for */
    volatile uint16_t rested;  /* coils put to rest since the last edge */
    volatile uint16_t rests;   /* how many were, ever; stops at its end */
    uint16_t limit_ms;
    uint16_t on_ms[SELECTORS_MAX];
};

/* The millisecond interrupt's share: counts the time of every coil that is on and takes those at their
 * limit out of `latched`. Returns true when the register must be put out again. Reads `latched` once;
 * `hold` and `release` keep the edge interrupt away only while something is put to rest. */
bool coils_beat(struct coils *coils, void (*hold)(void), void (*release)(void));

#endif
