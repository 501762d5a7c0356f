/* The power shift register, lamp and buzzer. */
#include "chip.h"

#ifdef CHIP_FITS

#define BYTE_CYCLES 32 /* eight bits at a quarter of the clock */

static volatile uint8_t shifting;

static void shift_byte(uint8_t byte)
{
    (void)SPSR; /* so that writing the byte takes the flag of the one before away */
    SPDR = byte;
    while ((SPSR & _BV(SPIF)) == 0)
        ;
}

/* Disabled before anything else, so that whatever the register holds at power-on reaches no coil. */
void outputs_start(void)
{
    PORTB |= _BV(PIN_DISABLE);
    DDRB |= _BV(PIN_DISABLE) | _BV(PIN_LATCH) | _BV(PIN_DATA) | _BV(PIN_CLOCK);
    DDRD |= _BV(PIN_LAMP) | _BV(PIN_BUZZER);
    SPCR = _BV(SPE) | _BV(MSTR); /* mode 0, high bit first, a quarter of the clock */
    SPSR = 0;
    outputs_shift(0);
    outputs_latch();
}

/* The beat's interrupt may come between the main loop's bytes with bytes of its own; the core then shifts again. */
void outputs_shift(uint16_t coils)
{
    if (shifting)
        __builtin_avr_delay_cycles(BYTE_CYCLES);
    shifting = 1;
    shift_byte((uint8_t)(coils >> 8));
    shift_byte((uint8_t)coils);
    shifting = 0;
}

void outputs_enable(bool on)
{
    if (on)
        PORTB &= (uint8_t)~_BV(PIN_DISABLE);
    else
        PORTB |= _BV(PIN_DISABLE);
}

#endif
