/* TIMER1 runs free and is the tick of 4 us; TIMER0 beats every millisecond. */
#include "chip.h"

#ifdef CHIP_FITS

#define TICKS_A_BEAT 250

static volatile uint8_t beats;
static uint8_t beats_taken;
static uint32_t now; /* of the main loop only */

/* Both from the same prescaler: a beat begins with a tick. */
void clock_start(void)
{
    OCR0A = TICKS_A_BEAT - 1; /* before the clock starts, so that the first beat is whole */
    TCCR0A = _BV(WGM01);
    TCCR1A = 0;
    TCCR1B = _BV(CS11) | _BV(CS10);
    TCCR0B = _BV(CS01) | _BV(CS00);
    TIMSK0 = _BV(OCIE0A);
}

/* Budget: every 16,000 cycles. Interrupts are off for entry, saving of registers and the first three statements, and
 * again at the end (about 65 cycles each); for the 450 between them edges may come, but not the
 * next beat, however long edges hold this one up. It ends coils at their limit whatever the main loop does. */
ISR(TIMER0_COMPA_vect)
{
    uint16_t tick = TCNT1;
    beats++;
    TIMSK0 = 0;
    sei();
    drive_beat(&board.drive, tick);
    cli();
    TIMSK0 = _BV(OCIE0A);
}

/* At least once in the 262 ms after which the timer cannot tell how long it was; every beat asks. */
uint32_t clock_ticks(void)
{
    uint16_t low;
    lock_state lock = lock_take(); /* the edge interrupt reads it too, through the same buffer */
    low = TCNT1;
    lock_give(lock);
    now += (uint16_t)(low - (uint16_t)now);
    return now;
}

bool clock_waiting(void)
{
    return beats != beats_taken;
}

bool clock_beat(void)
{
    if (!clock_waiting())
        return false;
    beats_taken++;
    return true;
}

#endif
