/* INT0 and INT1: every change of encoder A or B. */
#include "chip.h"

#define NOTES 32 /* edges that may wait for the main loop; a power of two */
#define PINS_ALL (_BV(PIN_ENCODER_A) | _BV(PIN_ENCODER_B) | _BV(PIN_SENSOR_LEFT) | _BV(PIN_SENSOR_RIGHT))
#define PINS_SHIFT PIN_ENCODER_A

/* Edges that wait: pins and the two halves of the tick's low half, in three rows. The alignment lets the
 * interrupt put an index into an address without a carry. */
static volatile uint8_t notes[3 * NOTES] __attribute__((aligned(NOTES)));
volatile uint8_t edges_noted; /* written by the interrupt only */
volatile uint8_t edges_taken; /* written by the main loop only */
volatile bool edges_overrun;

void edges_start(void)
{
    PORTD |= PINS_ALL; /* pull-ups */
    EICRA = _BV(ISC00) | _BV(ISC10);
    EIFR = _BV(INTF0) | _BV(INTF1);
    EIMSK = _BV(INT0) | _BV(INT1);
}

/* Every edge that is not one of a run. Budget: about 110 cycles, with two register bytes about 170;
 * from edge to latched selector at most 320: this, and before it the longest stretch with interrupts off
 * elsewhere. Everything else about the edge waits for the main loop. It bears the name of an interrupt
 * that is never enabled, because the compiler makes a handler only under such a name. */
ISR(PCINT0_vect)
{
    uint8_t pins = PIND >> PINS_SHIFT & 15;
    uint8_t low = TCNT1L;
    uint16_t tick = clock_low;
    uint8_t at;
    uint8_t next;
    if ((uint8_t)(pins & PINS_AB) == board.coils.expect) {
        uint16_t coming = board.coils.coming;
        SPDR = (uint8_t)(coming >> 8);
        board.coils.latched = coming;
        board.coils.expect = NO_PINS;
        shift_second(coming);
    }
    if ((TIFR1 & _BV(OCF1A)) != 0 && low < 125)
        tick += 250; /* a beat whose interrupt still waits */
    tick += low;
    board.run.direct = false; /* later edges must not overtake this one */
    at = edges_noted;
    notes[at] = pins;
    notes[at + NOTES] = (uint8_t)tick;
    notes[at + 2 * NOTES] = (uint8_t)(tick >> 8);
    next = (uint8_t)(at + 1) & (NOTES - 1);
    if (next == edges_taken) {
        PORTB |= _BV(PIN_DISABLE); /* at once; the main loop finds the name for it */
        edges_overrun = true;
    } else {
        edges_noted = next;
    }
}

/* The tick's low half into high:r24, with the beat whose interrupt still waits; uses r30. */
#define TICK_INTO(high, label)                                                                       \
    "lds r30, %[tcnt] \n lds r24, %[clock] \n lds " high ", %[clock]+1 \n"                           \
    "sbis %[tifr], %[ocf] \n rjmp " label "f \n cpi r30, 125 \n brsh " label "f \n"                 \
    "subi r24, lo8(-250) \n sbci " high ", hi8(-250) \n" label ": add r24, r30 \n brcc " label "1f \n" \
    "inc " high " \n" label "1: \n"

/* Budget: 60,000 edges a second leave 266 cycles for each, and the line at its fullest takes a fifth of
 * all cycles. An edge of a run takes about 95 here, and nothing in the main loop: this is run_edge
 * (core/run.h) by hand, because the compiler would save twelve registers where four do. An edge for which
 * nothing is prepared is noted in about 100. Any other goes on to PCINT0_vect, 30 cycles later. */
ISR(INT0_vect, ISR_NAKED)
{
    __asm__ volatile("push r24 \n in r24, __SREG__ \n push r24 \n push r25 \n push r30 \n push r31 \n"
                     "in r25, %[pind] \n lsr r25 \n lsr r25 \n andi r25, 15 \n"
                     "lds r24, %[direct] \n sbrs r24, 0 \n rjmp 5f \n"
                     "lds r24, %[next] \n cpse r25, r24 \n rjmp 5f \n"
                     /* one of the run */
                     "sts %[pins], r25 \n" TICK_INTO("r31", "1")
                     "lds r30, %[tick] \n sts %[tick], r24 \n sub r24, r30 \n" /* interval: r31:r24 */
                     "lds r30, %[tick]+1 \n sts %[tick]+1, r31 \n sbc r31, r30 \n"
                     "sts %[interval], r24 \n sts %[interval]+1, r31 \n"
                     "lds r30, %[shortest] \n cp r24, r30 \n lds r30, %[shortest]+1 \n cpc r31, r30 \n brcc 3f \n"
                     "sts %[shortest], r24 \n sts %[shortest]+1, r31 \n"
                     "3: lds r24, %[toggle] \n ldi r30, 3 \n eor r24, r30 \n sts %[toggle], r24 \n eor r25, r24 \n"
                     "lds r24, %[steps] \n inc r24 \n sts %[steps], r24 \n"
                     "lds r30, %[room] \n cpse r24, r30 \n rjmp 4f \n ldi r25, 0xFF \n"
                     "4: sts %[next], r25 \n rjmp 7f \n"
                     /* noted */
                     "5: lds r24, %[expect] \n cpi r24, 0xFF \n breq 6f \n rjmp 9f \n"
                     "6: push r26 \n" TICK_INTO("r26", "2")
                     "lds r30, %[noted] \n ldi r31, hi8(%[notes]) \n ori r30, lo8(%[notes]) \n"
                     "st Z, r25 \n std Z+%[row], r24 \n subi r30, -2*%[row] \n sbci r31, -1 \n st Z, r26 \n pop r26 \n"
                     "ldi r24, 0 \n sts %[direct], r24 \n"
                     "lds r30, %[noted] \n inc r30 \n andi r30, %[row]-1 \n"
                     "lds r24, %[taken] \n cp r30, r24 \n breq 9f \n sts %[noted], r30 \n"
                     "7: pop r31 \n pop r30 \n pop r25 \n pop r24 \n out __SREG__, r24 \n pop r24 \n reti \n"
                     "9: pop r31 \n pop r30 \n pop r25 \n pop r24 \n out __SREG__, r24 \n pop r24 \n jmp __vector_3 \n"
                     :
                     : [pind] "I"(_SFR_IO_ADDR(PIND)), [tifr] "I"(_SFR_IO_ADDR(TIFR1)), [ocf] "I"(OCF1A),
                       [tcnt] "i"(_SFR_MEM_ADDR(TCNT1L)), [clock] "i"(&clock_low), [direct] "i"(&board.run.direct),
                       [next] "i"(&board.run.next), [pins] "i"(&board.run.pins), [toggle] "i"(&board.run.toggle),
                       [steps] "i"(&board.run.steps), [room] "i"(&board.run.room), [tick] "i"(&board.run.tick),
                       [interval] "i"(&board.run.interval), [shortest] "i"(&board.run.shortest),
                       [expect] "i"(&board.coils.expect), [notes] "i"(notes), [noted] "i"(&edges_noted),
                       [taken] "i"(&edges_taken), [row] "I"(NOTES));
}

ISR(INT1_vect, ISR_ALIASOF(INT0_vect));

/* Edges that waited only because others did are run through at little cost, so that the loop catches up. */
static inline bool take_run(void)
{
    uint8_t at = edges_taken;
    while (at != edges_noted) {
        if (!run_edge(&board.run, notes[at], (uint16_t)(notes[at + NOTES] | notes[at + 2 * NOTES] << 8)))
            return true;
        at = (uint8_t)(at + 1) & (NOTES - 1);
        edges_taken = at;
    }
    return false;
}

void edges_take(void)
{
    while (take_run()) {
        uint8_t at = edges_taken;
        uint8_t pins = notes[at];
        uint16_t tick = (uint16_t)(notes[at + NOTES] | notes[at + 2 * NOTES] << 8);
        uint32_t now = clock_ticks();
        edges_taken = (uint8_t)(at + 1) & (NOTES - 1);
        board_edge(&board, pins, now - (uint16_t)((uint16_t)now - tick));
    }
    if (edges_overrun) {
        edges_overrun = false;
        board_edges_lost(&board);
    }
    cli();
    board.run.direct = edges_noted == edges_taken;
    sei();
}
