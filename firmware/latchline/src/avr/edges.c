/* INT0 and INT1: every change of encoder A or B. */
#include "chip.h"

#define NOTES 16 /* edges that may wait for the main loop; a power of two */
#define PINS_ALL (_BV(PIN_ENCODER_A) | _BV(PIN_ENCODER_B) | _BV(PIN_SENSOR_LEFT) | _BV(PIN_SENSOR_RIGHT))
#define PINS_SHIFT PIN_ENCODER_A

/* Edges that wait: the port as it was read, and the low half of the tick. */
static volatile uint8_t note_pins[NOTES];
static volatile uint16_t note_tick[NOTES];
static volatile uint8_t noted; /* written by the interrupt only */
static volatile uint8_t taken; /* written by the main loop only */
static volatile bool overrun;

void edges_start(void)
{
    PORTD |= PINS_ALL; /* pull-ups */
    EICRA = _BV(ISC00) | _BV(ISC10);
    EIFR = _BV(INTF0) | _BV(INTF1);
    EIMSK = _BV(INT0) | _BV(INT1);
}

/* Budget: 60,000 edges a second leave 266 cycles for each, 13 % of them the line's at its fullest.
 * Reading the pins, putting out what was prepared and noting the edge takes about 90 cycles, with two
 * register bytes about 150. From edge to latched selector at most 320 cycles: this, and before it the
 * longest stretch with interrupts off elsewhere. Everything else about the edge waits for the main loop. */
ISR(INT0_vect)
{
    uint8_t pins = PIND;
    uint8_t phase = pins >> PINS_SHIFT & PINS_AB;
    uint8_t low = TCNT1L;
    uint16_t tick = clock_low;
    uint8_t at = noted;
    uint8_t next;
    if (phase == board.coils.expect) {
        uint16_t coming = board.coils.coming;
        SPDR = (uint8_t)(coming >> 8);
        board.coils.latched = coming;
        board.coils.expect = NO_PINS;
        shift_second(coming);
    }
    if ((TIFR1 & _BV(OCF1A)) != 0 && low < 125)
        tick += 250; /* a beat whose interrupt still waits */
    tick += low;
    note_pins[at] = pins;
    note_tick[at] = tick;
    next = (uint8_t)(at + 1) & (NOTES - 1);
    if (next == taken) {
        PORTB |= _BV(PIN_DISABLE); /* at once; the main loop finds the name for it */
        overrun = true;
    } else {
        noted = next;
    }
}

ISR(INT1_vect, ISR_ALIASOF(INT0_vect));

bool edges_waiting(void)
{
    return noted != taken || overrun;
}

void edges_take(void)
{
    uint32_t now;
    if (noted == taken && !overrun)
        return;
    now = clock_ticks();
    while (noted != taken) {
        uint8_t at = taken;
        uint8_t pins = (uint8_t)((note_pins[at] & PINS_ALL) >> PINS_SHIFT);
        uint16_t tick = note_tick[at];
        taken = (uint8_t)(at + 1) & (NOTES - 1);
        if ((int16_t)(uint16_t)((uint16_t)now - tick) < 0)
            now = clock_ticks(); /* this edge came after `now` was read */
        board_edge(&board, pins, now - (uint16_t)((uint16_t)now - tick));
    }
    if (overrun) {
        overrun = false;
        board_edges_lost(&board);
    }
}
