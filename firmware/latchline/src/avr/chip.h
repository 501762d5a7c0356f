/* The parts of the chip port. */
#ifndef LATCHLINE_CHIP_H
#define LATCHLINE_CHIP_H

#if !defined(__AVR_ATmega328P__)
#error "This firmware is for the ATmega328P alone: choose that chip, or read docs/how-to/port-the-firmware.md."
#else
#define CHIP_FITS /* else the sources are empty, so that this sentence is all that is said */

#include <avr/interrupt.h>
#include <avr/io.h>

#include "../core/link.h"
#include "../core/lock.h"
#include "board_pins.h"

#ifndef F_CPU
#define F_CPU 16000000UL
#endif
#define BAUD_RATE 250000UL

#if F_CPU != 16000000UL
#error "ticks of 4 us and the baud rate are worked out for 16 MHz"
#endif

extern struct board board;

/* outputs.c */
void outputs_start(void);
void outputs_shift(uint16_t coils);
void outputs_enable(bool on);

static inline void outputs_latch(void)
{
    PORTB |= _BV(PIN_LATCH);
    PORTB &= (uint8_t)~_BV(PIN_LATCH);
}

/* clock.c */
void clock_start(void);
uint32_t clock_ticks(void); /* of the main loop only */
bool clock_waiting(void);
bool clock_beat(void); /* true once for each millisecond that has begun */

/* edges.c */
extern struct notes notes;
void edges_enable(void);

/* line.c */
void line_start(void);
uint8_t line_heard(const uint8_t **bytes); /* how many wait in one piece */
void line_taken(uint8_t count);
bool line_waiting(void);
uint8_t line_lost(void); /* bytes lost since the last call */
bool line_idle(void);
void line_send(const uint8_t *bytes, uint8_t length);

/* converter.c */
void converter_start(void);
void converter_begin(void); /* one reading of each channel */
uint16_t converter_supply(void);
uint16_t converter_current(void);
uint32_t converter_chance(void);

#endif
#endif
