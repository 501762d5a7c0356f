/* Keeping interrupts away from what they share with the main loop. A lock gives back what it found, so that it may
 * be taken where interrupts are off already. A port to another processor adds its own pair here. */
#ifndef LATCHLINE_LOCK_H
#define LATCHLINE_LOCK_H

#include <stdint.h>

#if defined(__AVR__)
#include <avr/interrupt.h>

typedef uint8_t lock_state;

static inline lock_state lock_take(void)
{
    lock_state before = SREG;
    cli();
    return before;
}

static inline void lock_give(lock_state before)
{
    __asm__ volatile("" ::: "memory");
    SREG = before;
}

#else /* a world without interrupts */

typedef uint8_t lock_state;

static inline lock_state lock_take(void)
{
    return 0;
}

static inline void lock_give(lock_state before)
{
    (void)before;
}

#endif

#endif
