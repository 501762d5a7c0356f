/* The converter: coil supply and coil current, one reading of each in every millisecond. */
#include "chip.h"

#define REFERENCE _BV(REFS0) /* the 5 V supply */
#define CLOCK_BY_128 (_BV(ADPS2) | _BV(ADPS1) | _BV(ADPS0))
#define UNUSED_CHANNEL 3
#define CHANCE_READINGS 64

static volatile uint16_t supply;
static volatile uint16_t current;

void converter_start(void)
{
    DIDR0 = _BV(ADC0D) | _BV(ADC1D);
    ADMUX = REFERENCE | PIN_SUPPLY;
    ADCSRA = _BV(ADEN) | _BV(ADIE) | CLOCK_BY_128;
}

void converter_begin(void)
{
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
    }
}

static uint16_t read_whole(const volatile uint16_t *reading)
{
    uint16_t value;
    cli();
    value = *reading;
    sei();
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
    uint8_t reading;
    ADCSRA = _BV(ADEN) | CLOCK_BY_128;
    ADMUX = REFERENCE | UNUSED_CHANNEL;
    for (reading = 0; reading < CHANCE_READINGS; reading++) {
        ADCSRA |= _BV(ADSC);
        while ((ADCSRA & _BV(ADSC)) != 0)
            ;
        mixed ^= ADC ^ (uint32_t)(uint16_t)(TCNT1L + ram[RAMEND - RAMSTART - 300 - reading]) << 16;
        mixed = (mixed << 5 | mixed >> 27) * 0x01000193ul;
    }
    ADCSRA = _BV(ADEN) | _BV(ADIE) | CLOCK_BY_128;
    return mixed;
}
