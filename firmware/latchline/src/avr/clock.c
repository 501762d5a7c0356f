/* TIMER1: ticks of 4 us and a beat every millisecond. */
#include "chip.h"

#define TICKS_A_BEAT 250

volatile uint16_t clock_low; /* ticks at the latest beat, in two halves */
static volatile uint16_t clock_high;
static volatile uint8_t beats;
static uint8_t beats_taken;

void clock_start(void)
{
    TCCR1A = 0;
    OCR1A = TICKS_A_BEAT - 1; /* before the clock starts, so that the first beat is whole */
    TCNT1 = 0;
    TCCR1B = _BV(WGM12) | _BV(CS11) | _BV(CS10);
    TIMSK1 = _BV(OCIE1A);
}

/* Budget: every 16,000 cycles. With interrupts off for entry, saving of registers and the first two
 * statements only (about 80 cycles, part of an edge's worst latency); then about 450 cycles
 * with interrupts on. It ends coils at their limit whatever the main loop does. */
ISR(TIMER1_COMPA_vect)
{
    uint16_t low = (uint16_t)(clock_low + TICKS_A_BEAT);
    clock_low = low;
    if (low < TICKS_A_BEAT)
        clock_high++;
    beats++;
    sei();
    if (coils_beat(&board.coils, ports.hold, ports.release)) {
        outputs_put(board.coils.latched);
        sei();
    }
}

uint32_t clock_ticks(void)
{
    uint8_t status = SREG;
    uint32_t base;
    uint8_t low;
    cli();
    low = TCNT1L;
    base = (uint32_t)clock_high << 16 | clock_low;
    if ((TIFR1 & _BV(OCF1A)) != 0 && low < TICKS_A_BEAT / 2)
        base += TICKS_A_BEAT; /* a beat whose interrupt still waits */
    SREG = status;
    return base + low;
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
