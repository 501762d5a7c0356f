/* The board on an ATmega328P: ports for the core, and the loop that runs it.
 *
 * Only the interrupts of edges.c, clock.c, line.c and converter.c run beside this loop, and each of
 * them touches only what its own file, edges.h and drive.h declare volatile. */
#include "chip.h"

#ifdef CHIP_FITS

#include <avr/eeprom.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

#define BYTES_AT_ONCE 8

struct board board;
static struct link host;
static uint8_t reset_cause __attribute__((section(".noinit")));
static struct kept kept __attribute__((section(".noinit")));

/* The watchdog is still running after it has struck, at its shortest time; take its cause and stop it
 * before memory is cleared. A boot loader that has already cleared MCUSR leaves the cause at 0. */
void take_reset_cause(void) __attribute__((naked, used, section(".init3")));
void take_reset_cause(void)
{
    reset_cause = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

void port_shift(void *world, uint16_t coils)
{
    (void)world;
    outputs_shift(coils);
}

void port_latch(void *world)
{
    (void)world;
    outputs_latch();
}

void port_enable(void *world, bool on)
{
    (void)world;
    outputs_enable(on);
}

void port_lamp(void *world, bool on)
{
    (void)world;
    if (on)
        PORTD |= _BV(PIN_LAMP);
    else
        PORTD &= (uint8_t)~_BV(PIN_LAMP);
}

void port_buzzer(void *world, bool on)
{
    (void)world;
    if (on)
        PORTD |= _BV(PIN_BUZZER);
    else
        PORTD &= (uint8_t)~_BV(PIN_BUZZER);
}

uint8_t port_pins(void *world)
{
    uint8_t levels = PIND >> PIN_ENCODER_A & PINS_AT_EDGE;
    (void)world;
    return (PINB & _BV(PIN_SENSOR_MIDDLE)) != 0 ? levels | PIN_MIDDLE : levels;
}

uint32_t port_ticks(void *world)
{
    (void)world;
    return clock_ticks();
}

uint16_t port_supply(void *world)
{
    (void)world;
    return converter_supply();
}

uint16_t port_current(void *world)
{
    (void)world;
    return converter_current();
}

uint32_t port_chance(void *world)
{
    (void)world;
    return converter_chance();
}

bool port_line_idle(void *world)
{
    (void)world;
    return line_idle();
}

void port_send(void *world, const uint8_t *bytes, uint8_t length)
{
    (void)world;
    line_send(bytes, length);
}

bool port_memory_busy(void *world)
{
    (void)world;
    return (EECR & _BV(EEPE)) != 0;
}

uint8_t port_memory_read(void *world, uint16_t at)
{
    (void)world;
    EEAR = at;
    EECR |= _BV(EERE);
    return EEDR;
}

void port_memory_write(void *world, uint16_t at, uint8_t byte)
{
    (void)world;
    lock_state lock;
    EEAR = at;
    EEDR = byte;
    lock = lock_take(); /* EEPE must follow EEMPE within four cycles */
    EECR |= _BV(EEMPE);
    EECR |= _BV(EEPE);
    lock_give(lock);
}

static void start(void)
{
    outputs_start();
    clock_start();
    line_start();
    converter_start();
    wdt_enable(WDTO_250MS);
    SMCR = 0; /* sleep is idle: everything but the processor runs on */
    edges_enable();
    sei(); /* reading the memory takes some milliseconds, in which the line goes on */
    board_start(&board, NULL, &notes, &kept, reset_cause);
    link_start(&host, &board);
}

/* Sleeps until the next interrupt unless one has left work behind. */
static void rest(void)
{
    cli();
    if (edges_waiting(&board.drive.edges) || line_waiting() || clock_waiting()) {
        sei();
        return;
    }
    sleep_enable();
    sei();
    sleep_cpu();
    sleep_disable();
}

static __attribute__((noinline)) void edges_taken(void)
{
    board_edges(&board);
}

/* Often asked, seldom with anything to do. */
static inline __attribute__((always_inline)) void take_edges(void)
{
    if (edges_waiting(&board.drive.edges))
        edges_taken();
}

/* Some bytes at one go, because what lies around them costs as much as they do; no more once a frame has ended. */
static inline bool take_bytes(void)
{
    const uint8_t *bytes;
    uint8_t count = line_heard(&bytes);
    if (count == 0 || edges_waiting(&board.drive.edges))
        return false;
    line_taken(link_bytes(&host, &board, bytes, count < BYTES_AT_ONCE ? count : BYTES_AT_ONCE));
    return true;
}

int main(void)
{
    start();
    for (;;) {
        bool more = take_bytes();
        wdt_reset();
        take_edges();
        if (clock_beat()) {
            for (uint8_t lost = line_lost(); lost != 0; lost--)
                link_bytes_lost(&host);
            link_beat(&host, &board);
            converter_begin();
            more = true;
        }
        take_edges();
        more = link_work(&host, &board) || more;
        if (!more)
            rest();
    }
}

#endif
