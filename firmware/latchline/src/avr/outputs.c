/* The power shift register, lamp and buzzer. */
#include "chip.h"

/* Disabled before anything else, so that whatever the register holds at power-on reaches no coil. */
void outputs_start(void)
{
    PORTB |= _BV(PIN_DISABLE);
    DDRB |= _BV(PIN_DISABLE) | _BV(PIN_LATCH) | _BV(PIN_DATA) | _BV(PIN_CLOCK);
    DDRD |= _BV(PIN_LAMP) | _BV(PIN_BUZZER);
    SPCR = _BV(SPE) | _BV(MSTR); /* mode 0, high bit first, a quarter of the clock */
    SPSR = 0;
    outputs_put(0);
}

/* Interrupts must be off. */
void outputs_put(uint16_t coils)
{
    SPDR = (uint8_t)(coils >> 8);
    shift_second(coils);
}

void outputs_enable(bool on)
{
    if (on)
        PORTB &= (uint8_t)~_BV(PIN_DISABLE);
    else
        PORTB |= _BV(PIN_DISABLE);
}
