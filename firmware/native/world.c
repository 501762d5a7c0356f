/* The core on a PC: a world of pins, bytes and time around struct board, without any latency. */
#include <limits.h>

#include "../emulator/face_log.h"
#include "../latchline/src/core/link.h"

#define TICK_US 4
#define BEAT_US 1000
#define MEMORY_BYTE_US 3400 /* time to write one byte, ATmega328P data sheet (memory) */

struct world {
    struct board board;
    struct link link;
    struct notes notes;
    struct kept kept;
    struct face_log log;
    struct heard heard;
    face_analog analog;
    uint32_t chance;
    int64_t now_us;
    int64_t power_us;
    int64_t beat_us;
    int64_t line_us;   /* when the transmitter is idle again */
    int64_t memory_us; /* when the memory is idle again */
    uint16_t memory_at;
    uint8_t memory_byte;
    bool memory_burning;
    bool powered;
    uint8_t pins;
    uint16_t shifted;
    uint16_t coils;
    uint8_t bits;
    uint8_t memory[MEMORY_BYTES];
};

static void show(struct world *world)
{
    log_signals(&world->log, world->now_us, world->coils, world->bits);
}

void port_shift(void *of, uint16_t coils)
{
    ((struct world *)of)->shifted = coils;
}

void port_latch(void *of)
{
    struct world *world = of;
    world->coils = world->shifted;
    show(world);
}

static void put_bit(struct world *world, uint8_t bit, bool on)
{
    world->bits = (uint8_t)(on ? world->bits | bit : world->bits & ~bit);
    show(world);
}

void port_enable(void *of, bool on)
{
    put_bit(of, SIGNAL_ENABLED, on);
}

void port_lamp(void *of, bool on)
{
    put_bit(of, SIGNAL_LAMP, on);
}

void port_buzzer(void *of, bool on)
{
    put_bit(of, SIGNAL_BUZZER, on);
}

uint8_t port_pins(void *of)
{
    return ((struct world *)of)->pins;
}

uint32_t port_ticks(void *of)
{
    struct world *world = of;
    return (uint32_t)((world->now_us - world->power_us) / TICK_US);
}

static uint32_t analog(struct world *world)
{
    return world->analog == NULL ? 711 : world->analog(world->coils, (world->bits & SIGNAL_ENABLED) != 0);
}

uint16_t port_supply(void *of)
{
    return (uint16_t)analog(of);
}

uint16_t port_current(void *of)
{
    return (uint16_t)(analog(of) >> 16);
}

uint32_t port_chance(void *of)
{
    return ((struct world *)of)->chance;
}

bool port_line_idle(void *of)
{
    struct world *world = of;
    return world->line_us <= world->now_us;
}

void port_send(void *of, const uint8_t *bytes, uint8_t length)
{
    struct world *world = of;
    for (uint8_t at = 0; at < length; at++)
        log_sent(&world->log, world->now_us + (at + 1) * BYTE_US, bytes[at]);
    world->line_us = world->now_us + length * BYTE_US;
}

bool port_memory_busy(void *of)
{
    return ((struct world *)of)->memory_burning;
}

uint8_t port_memory_read(void *of, uint16_t at)
{
    return ((struct world *)of)->memory[at];
}

void port_memory_write(void *of, uint16_t at, uint8_t byte)
{
    struct world *world = of;
    world->memory_at = at;
    world->memory_byte = byte;
    world->memory_burning = true;
    world->memory_us = world->now_us + MEMORY_BYTE_US;
}

static void settle(struct world *world)
{
    while (link_work(&world->link, &world->board))
        ;
}

static int64_t next_event(const struct world *world)
{
    int64_t next = world->beat_us;
    if (world->heard.count != 0 && world->heard.bytes[world->heard.first].at_us < next)
        next = world->heard.bytes[world->heard.first].at_us;
    if (world->line_us > world->now_us && world->line_us < next)
        next = world->line_us;
    if (world->memory_burning && world->memory_us < next)
        next = world->memory_us;
    return next;
}

static void happen(struct world *world)
{
    while (world->heard.count != 0 && world->heard.bytes[world->heard.first].at_us <= world->now_us) {
        uint8_t byte = heard_take(&world->heard);
        link_bytes(&world->link, &world->board, &byte, 1);
    }
    if (world->memory_burning && world->memory_us <= world->now_us) {
        world->memory[world->memory_at] = world->memory_byte;
        world->memory_burning = false;
        board_work(&world->board); /* what ends on a beat has ended when the beat looks */
    }
    if (world->beat_us <= world->now_us) {
        world->beat_us += BEAT_US;
        drive_beat(&world->board.drive, (uint16_t)port_ticks(world));
        link_beat(&world->link, &world->board);
    }
    settle(world);
}

void face_run(void *face, int64_t until_us)
{
    struct world *world = face;
    if (!world->powered) {
        world->now_us = until_us;
        return;
    }
    for (;;) {
        int64_t next = next_event(world);
        if (next > until_us)
            break;
        if (next > world->now_us)
            world->now_us = next;
        happen(world);
    }
    if (until_us > world->now_us)
        world->now_us = until_us;
}

void *face_new(const char *image, uint32_t chance_number, face_analog analog_read)
{
    struct world *world = calloc(1, sizeof *world);
    (void)image;
    if (world == NULL)
        return NULL;
    world->chance = chance_number;
    world->analog = analog_read;
    world->pins = PINS_SENSORS;
    memset(world->memory, 0xFF, sizeof world->memory);
    return world;
}

void face_free(void *face)
{
    struct world *world = face;
    log_free(&world->log);
    free(world->heard.bytes);
    free(world);
}

/* What was still to be sent is cut off with the power. */
static void cut_sent(struct world *world)
{
    struct face_log *log = &world->log;
    while (log->sent_count != 0 && log->sent[log->sent_count - 1].at_us > world->now_us)
        log->sent_count--;
}

void face_power(void *face, int64_t at_us, uint8_t cause)
{
    struct world *world = face;
    face_run(face, at_us);
    cut_sent(world);
    world->power_us = world->line_us = at_us;
    world->beat_us = at_us + BEAT_US;
    world->memory_burning = false;
    world->heard.count = world->powered ? world->heard.count : 0;
    world->powered = true;
    world->coils = 0;
    world->bits = 0;
    show(world);
    board_start(&world->board, world, &world->notes, &world->kept, cause);
    link_start(&world->link, &world->board);
    settle(world);
}

void face_edges(void *face, size_t count, const int64_t *at_us, const uint8_t *levels)
{
    struct world *world = face;
    for (size_t at = 0; at < count; at++) {
        uint8_t before = world->pins;
        face_run(face, at_us[at]);
        world->pins = levels[at];
        if (!world->powered || ((before ^ levels[at]) & PINS_AB) == 0)
            continue;
        drive_edge(&world->board.drive, &world->notes, levels[at], (uint16_t)port_ticks(world));
        board_edges(&world->board);
        settle(world);
    }
}

void face_receive(void *face, int64_t at_us, size_t count, const uint8_t *bytes)
{
    struct world *world = face;
    face_run(face, at_us);
    heard_add(&world->heard, at_us, count, bytes);
    face_run(face, at_us);
}

size_t face_sent_count(void *face)
{
    return ((struct world *)face)->log.sent_count;
}

void face_sent(void *face, int64_t *at_us, uint8_t *bytes)
{
    log_take_sent(&((struct world *)face)->log, at_us, bytes);
}

size_t face_signals_count(void *face)
{
    return ((struct world *)face)->log.signals_count;
}

void face_signals(void *face, int64_t *at_us, uint16_t *coils, uint8_t *bits)
{
    log_take_signals(&((struct world *)face)->log, at_us, coils, bits);
}

uint8_t *face_memory(void *face)
{
    return ((struct world *)face)->memory;
}
