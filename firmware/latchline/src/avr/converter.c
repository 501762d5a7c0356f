/* The converter: coil supply and coil current, one reading of each in every millisecond. */
#include "chip.h"

#ifdef CHIP_FITS

#define REFERENCE _BV(REFS0) /* the 5 V supply */
#define CLOCK_BY_128 (_BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0))
#define UNUSED_CHANNEL 3
#define CHANCE_READINGS 64

static volatile uint16_t supply;
static volatile uint16_t current;
static volatile uint8_t reading; /* the two channels are still being read */

void converter_start(void)
{
    DIDR0 = _BV(ADC0D) | _BV(ADC1D);
    ADMUX = REFERENCE | PIN_SUPPLY;
    ADCSRA = _BV(ADEN) | _BV(ADIE) | CLOCK_BY_128;
}

/* The channel must not change during a reading; a loop that is late leaves one out. */
void converter_begin(void)
{
    if (reading)
        return;
    reading = 1;
    ADMUX = REFERENCE | PIN_SUPPLY;
    ADCSRA |= _BV(ADSC);
}

/* Budget: twice in 16,000 cycles; about 60. */
ISR(ADC_vect)
{
    if ((ADMUX & 0x0F) == PIN_SUPPLY) {
        supply = ADC;
        ADMUX = REFERENCE | PIN_CURRENT;
        ADCSRA |= _BV(ADSC);
    } else {
        current = ADC;
        reading = 0;
    }
}

static uint16_t read_whole(const volatile uint16_t *channel)
{
    uint16_t value;
    lock_state lock = lock_take();
    value = *channel;
    lock_give(lock);
    return value;
}

uint16_t converter_supply(void)
{
    return read_whole(&supply);
}

uint16_t converter_current(void)
{
    return read_whole(&current);
}

/* Only at the very first start: the noise of a pin that nothing is connected to, and what RAM held. */
uint32_t converter_chance(void)
{
    const uint8_t *ram = (const uint8_t *)RAMSTART;
    uint32_t mixed = 0x9E3779B9;
    uint8_t count;
    ADCSRA = _BV(ADEN) | CLOCK_BY_128;
    ADMUX = REFERENCE | UNUSED_CHANNEL;
    for (count = 0; count < CHANCE_READINGS; count++) {
        ADCSRA |= _BV(ADSC);
        while ((ADCSRA & _BV(ADSC)) != 0)
            ;
        mixed ^= ADC ^ (uint32_t)(uint16_t)(TCNT1L + ram[RAMEND - RAMSTART - 300 - count]) << 16;
        mixed = (mixed << 5 | mixed >> 27) * 0x01000193ul;
    }
    ADCSRA = _BV(ADEN) | _BV(ADIE) | CLOCK_BY_128;
    return mixed;
}

#endif
