/* The parts of the chip port. */
#ifndef LATCHLINE_CHIP_H
#define LATCHLINE_CHIP_H

#include <avr/interrupt.h>
#include <avr/io.h>

#include "../core/board.h"
#include "board_pins.h"

#ifndef F_CPU
#define F_CPU 16000000UL
#endif
#define BAUD_RATE 250000UL

#if F_CPU != 16000000UL
#error "ticks of 4 us and the baud rate are worked out for 16 MHz"
#endif

extern struct board board;
extern const struct ports ports;

/* outputs.c */
void outputs_start(void);
void outputs_put(uint16_t coils);
void outputs_enable(bool on);

/* Two bytes at a quarter of the clock: 2 x 32 cycles and a latch pulse. Interrupts must be off. */
static inline __attribute__((always_inline)) void shift_second(uint16_t coils)
{
    while ((SPSR & _BV(SPIF)) == 0)
        ;
    SPDR = (uint8_t)coils;
    while ((SPSR & _BV(SPIF)) == 0)
        ;
    PORTB |= _BV(PIN_LATCH);
    PORTB &= (uint8_t)~_BV(PIN_LATCH);
}

/* clock.c */
extern volatile uint16_t clock_low; /* for the edge interrupt: low half of the tick at the latest beat */
void clock_start(void);
uint32_t clock_ticks(void);
bool clock_waiting(void);
bool clock_beat(void); /* true once for each millisecond that has begun */

/* edges.c */
void edges_start(void);
void edges_take(void) __attribute__((noinline)); /* hands every edge noted so far to the core */
extern volatile uint8_t edges_noted;
extern volatile uint8_t edges_taken;
extern volatile bool edges_overrun;

static inline bool edges_waiting(void)
{
    return !board.run.direct || edges_overrun;
}

/* line.c */
void line_start(void);
bool line_byte(uint8_t *byte);
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
