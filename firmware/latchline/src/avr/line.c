/* USART0: 250000 baud, both ways through interrupts. */
#include "chip.h"

#ifdef CHIP_FITS

#define HEARD 64 /* bytes that may wait for the main loop; a power of two */

static volatile uint8_t heard[HEARD];
static volatile uint8_t heard_in;  /* written by the interrupt only */
static volatile uint8_t heard_out; /* written by the main loop only */
static volatile uint8_t lost;
static uint8_t lost_told;

static const uint8_t *volatile sending;
static volatile uint8_t sending_left;

void line_start(void)
{
    UBRR0 = F_CPU / 8 / BAUD_RATE - 1;
    UCSR0A = _BV(U2X0);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00);
    UCSR0B = _BV(RXCIE0) | _BV(RXEN0) | _BV(TXEN0);
}

#ifdef INTERRUPTS_IN_C

/* Budget: a byte every 640 cycles; about 70. */
ISR(USART_RX_vect)
{
    uint8_t status = UCSR0A;
    uint8_t byte = UDR0;
    uint8_t in = heard_in;
    uint8_t next = (uint8_t)(in + 1) & (HEARD - 1);
    if ((status & (_BV(DOR0) | _BV(FE0))) != 0 || next == heard_out) {
        lost++;
        if (next == heard_out)
            return;
    }
    heard[in] = byte;
    heard_in = next;
}

/* Budget: a byte every 640 cycles; about 70. */
ISR(USART_UDRE_vect)
{
    const uint8_t *at = sending;
    UDR0 = *at++;
    sending = at;
    if (--sending_left == 0)
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
}

#else

/* The same by hand: with the line full both ways, what a compiler saves and restores for nothing is a twentieth of
 * the processor's time.
 *
 * Budget: a byte every 640 cycles; about 55. */
ISR(USART_RX_vect, ISR_NAKED)
{
    __asm__ volatile("push r24 \n in r24, __SREG__ \n push r24 \n push r25 \n push r30 \n push r31 \n"
                     "lds r24, %[status] \n lds r25, %[data] \n"
                     "lds r30, %[in] \n mov r31, r30 \n inc r31 \n andi r31, %[places]-1 \n"
                     "andi r24, %[errors] \n brne 2f \n lds r24, %[out] \n cp r31, r24 \n breq 3f \n"
                     "1: sts %[in], r31 \n ldi r31, 0 \n subi r30, lo8(-(%[heard])) \n sbci r31, hi8(-(%[heard])) \n"
                     "st Z, r25 \n"
                     "4: pop r31 \n pop r30 \n pop r25 \n pop r24 \n out __SREG__, r24 \n pop r24 \n reti \n"
                     /* lost before it, and perhaps itself */
                     "2: lds r24, %[lost] \n inc r24 \n sts %[lost], r24 \n lds r24, %[out] \n cpse r31, r24 \n rjmp 1b \n"
                     "rjmp 4b \n"
                     "3: lds r24, %[lost] \n inc r24 \n sts %[lost], r24 \n rjmp 4b \n"
                     :
                     : [status] "i"(_SFR_MEM_ADDR(UCSR0A)), [data] "i"(_SFR_MEM_ADDR(UDR0)), [in] "i"(&heard_in),
                       [out] "i"(&heard_out), [places] "M"(HEARD), [errors] "M"(_BV(DOR0) | _BV(FE0)), [heard] "i"(heard),
                       [lost] "i"(&lost));
}

/* Budget: a byte every 640 cycles; about 50. */
ISR(USART_UDRE_vect, ISR_NAKED)
{
    __asm__ volatile("push r24 \n in r24, __SREG__ \n push r24 \n push r30 \n push r31 \n"
                     "lds r30, %[sending] \n lds r31, %[sending]+1 \n ld r24, Z+ \n sts %[data], r24 \n"
                     "sts %[sending], r30 \n sts %[sending]+1, r31 \n"
                     "lds r24, %[left] \n dec r24 \n sts %[left], r24 \n brne 1f \n"
                     "lds r24, %[control] \n andi r24, 255-%[empty] \n sts %[control], r24 \n"
                     "1: pop r31 \n pop r30 \n pop r24 \n out __SREG__, r24 \n pop r24 \n reti \n"
                     :
                     : [sending] "i"(&sending), [left] "i"(&sending_left), [data] "i"(_SFR_MEM_ADDR(UDR0)),
                       [control] "i"(_SFR_MEM_ADDR(UCSR0B)), [empty] "M"(_BV(UDRIE0)));
}

#endif

bool line_waiting(void)
{
    return heard_in != heard_out;
}

uint8_t line_heard(const uint8_t **bytes)
{
    uint8_t out = heard_out;
    uint8_t count = (uint8_t)(heard_in - out) & (HEARD - 1);
    *bytes = (const uint8_t *)heard + out;
    return count <= HEARD - out ? count : (uint8_t)(HEARD - out);
}

void line_taken(uint8_t count)
{
    heard_out = (uint8_t)(heard_out + count) & (HEARD - 1);
}

uint8_t line_lost(void)
{
    uint8_t now = lost;
    uint8_t since = (uint8_t)(now - lost_told);
    lost_told = now;
    return since;
}

bool line_idle(void)
{
    return sending_left == 0;
}

void line_send(const uint8_t *bytes, uint8_t length)
{
    sending = bytes;
    sending_left = length;
    UCSR0B |= _BV(UDRIE0);
}

#endif
