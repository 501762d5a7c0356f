/* INT0 and INT1: every change of encoder A or B. */
#include "chip.h"

#ifdef CHIP_FITS

#define PINS_ALL (_BV(PIN_ENCODER_A) | _BV(PIN_ENCODER_B) | _BV(PIN_SENSOR_LEFT) | _BV(PIN_SENSOR_RIGHT))
#define PINS_SHIFT PIN_ENCODER_A

struct notes notes;

void edges_enable(void)
{
    PORTD |= PINS_ALL; /* pull-ups */
    PORTB |= _BV(PIN_SENSOR_MIDDLE);
    EICRA = _BV(ISC00) | _BV(ISC10);
    EIFR = _BV(INTF0) | _BV(INTF1);
    EIMSK = _BV(INT0) | _BV(INT1);
}

#ifdef INTERRUPTS_IN_C

/* Budget: about 200 cycles, and 110 from edge to latch. */
ISR(INT0_vect)
{
    uint8_t pins = PIND >> PINS_SHIFT & PINS_AT_EDGE;
    if ((PINB & _BV(PIN_SENSOR_MIDDLE)) != 0)
        pins |= PIN_MIDDLE;
    if (!drive_edge(&board.drive, &notes, pins, TCNT1))
        PORTB |= _BV(PIN_DISABLE); /* at once; the main loop finds the name for it */
}

#else

/* drive_edge of the core by hand, because a compiler saves a dozen registers where two to five do.
 *
 * Budget: from edge to latch 28 cycles, and before it the longest stretch with interrupts off elsewhere, together
 * at most 128. 100,000 edges a second leave 160 for each, and the main loop has to live too: an edge of a run takes
 * about 85, a noted one about 80, a latched one 20 more. */
ISR(INT0_vect, ISR_NAKED)
{
    __asm__ volatile("push r24 \n in r24, __SREG__ \n push r24 \n push r25 \n"
                     "in r25, %[pind] \n lsr r25 \n lsr r25 \n andi r25, 15 \n"
                     "lds r24, %[awaited] \n cpse r25, r24 \n rjmp 4f \n"
                     "lds r24, %[ready] \n sbrc r24, 0 \n rjmp 1f \n"
                     /* one of a run */
                     "push r30 \n push r31 \n lds r30, %[timer] \n lds r31, %[timer]+1 \n"
                     "lds r24, %[tick] \n sts %[tick], r30 \n sub r30, r24 \n" /* interval: r31:r30 */
                     "lds r24, %[tick]+1 \n sts %[tick]+1, r31 \n sbc r31, r24 \n"
                     "lds r24, %[shortest] \n cp r30, r24 \n lds r24, %[shortest]+1 \n cpc r31, r24 \n brcs 3f \n"
                     "2: lds r24, %[pins] \n sts %[pins], r25 \n ldi r25, %[ab] \n eor r24, r25 \n"
                     "lds r25, %[room] \n dec r25 \n sts %[room], r25 \n brne 8f \n ldi r24, %[none] \n"
                     "8: sts %[awaited], r24 \n pop r31 \n pop r30 \n"
                     "pop r25 \n pop r24 \n out __SREG__, r24 \n pop r24 \n reti \n"
                     "3: sts %[shortest], r30 \n sts %[shortest]+1, r31 \n rjmp 2b \n"
                     /* what lies ready is latched */
                     "1: sbi %[portb], %[latch] \n cbi %[portb], %[latch] \n"
                     "lds r24, %[coming] \n sts %[latched], r24 \n lds r24, %[coming]+1 \n sts %[latched]+1, r24 \n"
                     "ldi r24, 0 \n sts %[ready], r24 \n rjmp 5f \n"
                     /* one that only a sensor tells from what was awaited latches too */
                     "4: eor r24, r25 \n andi r24, %[ab] \n brne 5f \n lds r24, %[ready] \n sbrc r24, 0 \n rjmp 1b \n"
                     /* noted */
                     "5: sbic %[pinb], %[middle] \n ori r25, %[middle_bit] \n"
                     "push r30 \n push r31 \n lds r24, %[noted] \n mov r30, r24 \n ldi r31, 0 \n"
                     "subi r30, lo8(-(%[notes])) \n sbci r31, hi8(-(%[notes])) \n st Z, r25 \n"
                     "lds r25, %[timer] \n std Z+1, r25 \n lds r25, %[timer]+1 \n std Z+2, r25 \n"
                     "subi r24, -%[note] \n cpi r24, %[end] \n brne 6f \n ldi r24, 0 \n"
                     "6: lds r25, %[taken] \n cp r24, r25 \n breq 9f \n sts %[noted], r24 \n"
                     "7: ldi r24, %[none] \n sts %[awaited], r24 \n pop r31 \n pop r30 \n"
                     "pop r25 \n pop r24 \n out __SREG__, r24 \n pop r24 \n reti \n"
                     "9: ldi r24, 1 \n sts %[overrun], r24 \n sbi %[portb], %[disable] \n rjmp 7b \n"
                     :
                     : [pind] "I"(_SFR_IO_ADDR(PIND)), [portb] "I"(_SFR_IO_ADDR(PORTB)),
                       [pinb] "I"(_SFR_IO_ADDR(PINB)), [middle] "I"(PIN_SENSOR_MIDDLE), [middle_bit] "M"(PIN_MIDDLE), [latch] "I"(PIN_LATCH),
                       [disable] "I"(PIN_DISABLE), [timer] "i"(_SFR_MEM_ADDR(TCNT1L)), [ab] "M"(PINS_AB),
                       [none] "M"(NO_PINS), [note] "M"(NOTE_BYTES), [end] "M"(NOTES * NOTE_BYTES), [notes] "i"(&notes), [awaited] "i"(&board.drive.edges.awaited),
                       [ready] "i"(&board.drive.ready), [coming] "i"(&board.drive.coming),
                       [latched] "i"(&board.drive.latched), [tick] "i"(&board.drive.edges.tick), [shortest] "i"(&board.drive.edges.shortest),
                       [pins] "i"(&board.drive.edges.pins), [room] "i"(&board.drive.edges.room), [noted] "i"(&board.drive.edges.noted),
                       [taken] "i"(&board.drive.edges.taken), [overrun] "i"(&board.drive.edges.overrun));
}

#endif

ISR(INT1_vect, ISR_ALIASOF(INT0_vect));

#endif
