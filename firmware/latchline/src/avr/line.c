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

/* Budget: a byte every 640 cycles; about 60. */
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

/* Budget: a byte every 640 cycles; about 50. */
ISR(USART_UDRE_vect)
{
    const uint8_t *at = sending;
    UDR0 = *at++;
    sending = at;
    if (--sending_left == 0)
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
}

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
