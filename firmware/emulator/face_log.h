/* What both worlds log: bytes sent and changes of the output pins. */
#ifndef LATCHLINE_FACE_LOG_H
#define LATCHLINE_FACE_LOG_H

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "face.h"

struct sent_row {
    int64_t at_us;
    uint8_t byte;
};

struct signal_row {
    int64_t at_us;
    uint16_t coils;
    uint8_t bits;
};

struct face_log {
    struct sent_row *sent;
    size_t sent_count, sent_room;
    struct signal_row *signals;
    size_t signals_count, signals_room;
    uint16_t coils; /* the outputs as last logged */
    uint8_t bits;
};

struct heard_byte {
    int64_t at_us;
    uint8_t byte;
};

/* Bytes on their way to the board. */
struct heard {
    struct heard_byte *bytes;
    size_t first, count, room;
};

static void *grown(void *array, size_t count, size_t *room, size_t size)
{
    if (count < *room)
        return array;
    *room = *room == 0 ? 256 : *room * 2;
    array = realloc(array, *room * size);
    if (array == NULL)
        abort();
    return array;
}

static void log_sent(struct face_log *log, int64_t at_us, uint8_t byte)
{
    log->sent = grown(log->sent, log->sent_count, &log->sent_room, sizeof *log->sent);
    log->sent[log->sent_count].at_us = at_us;
    log->sent[log->sent_count++].byte = byte;
}

/* Several changes within one microsecond are one, and none if they undo each other. */
static void log_signals(struct face_log *log, int64_t at_us, uint16_t coils, uint8_t bits)
{
    if (coils == log->coils && bits == log->bits)
        return;
    log->coils = coils;
    log->bits = bits;
    if (log->signals_count > 1 && log->signals[log->signals_count - 1].at_us == at_us &&
        log->signals[log->signals_count - 2].coils == coils && log->signals[log->signals_count - 2].bits == bits) {
        log->signals_count--;
        return;
    }
    if (log->signals_count == 0 || log->signals[log->signals_count - 1].at_us != at_us)
        log->signals_count++;
    log->signals = grown(log->signals, log->signals_count, &log->signals_room, sizeof *log->signals);
    log->signals[log->signals_count - 1].at_us = at_us;
    log->signals[log->signals_count - 1].coils = coils;
    log->signals[log->signals_count - 1].bits = bits;
}

static void log_free(struct face_log *log)
{
    free(log->sent);
    free(log->signals);
}

static void log_take_sent(struct face_log *log, int64_t *at_us, uint8_t *bytes)
{
    for (size_t row = 0; row < log->sent_count; row++) {
        at_us[row] = log->sent[row].at_us;
        bytes[row] = log->sent[row].byte;
    }
    log->sent_count = 0;
}

static void log_take_signals(struct face_log *log, int64_t *at_us, uint16_t *coils, uint8_t *bits)
{
    for (size_t row = 0; row < log->signals_count; row++) {
        at_us[row] = log->signals[row].at_us;
        coils[row] = log->signals[row].coils;
        bits[row] = log->signals[row].bits;
    }
    log->signals_count = 0;
}

static void heard_add(struct heard *heard, int64_t at_us, size_t count, const uint8_t *bytes)
{
    size_t end = heard->first + heard->count;
    if (heard->count == 0)
        heard->first = end = 0;
    else if (heard->bytes[end - 1].at_us + BYTE_US > at_us)
        at_us = heard->bytes[end - 1].at_us + BYTE_US;
    for (size_t at = 0; at < count; at++, end++) {
        heard->bytes = grown(heard->bytes, end + 1, &heard->room, sizeof *heard->bytes);
        heard->bytes[end].at_us = at_us + (int64_t)at * BYTE_US;
        heard->bytes[end].byte = bytes[at];
    }
    heard->count += count;
}

static uint8_t heard_take(struct heard *heard)
{
    heard->count--;
    return heard->bytes[heard->first++].byte;
}

#endif
