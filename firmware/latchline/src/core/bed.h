/* The bed that the host has told the board of (docs/protocol.md section 4). */
#ifndef LATCHLINE_BED_H
#define LATCHLINE_BED_H

#include <stdbool.h>
#include <stdint.h>

#include "limits.h"

#define BED_FIELDS 29 /* bytes of BED after the type */

struct bed {
    uint16_t needles; /* 0: the board has no bed yet */
    uint8_t edges_per_needle;
    int16_t left_sensor;
    int16_t right_sensor;
    uint8_t tolerance;
    uint16_t backing;
    bool bank;
    uint8_t count;
    int16_t lead_leftward;
    int16_t lead_rightward;
    uint16_t advance;
    uint8_t advance_max;
    uint8_t hold;
    uint16_t limit_ms;
    bool active_low;
    uint16_t patience_ms;
    uint16_t supply_min;
    uint16_t current_max;
};

static inline bool bed_is_set(const struct bed *bed)
{
    return bed->needles != 0;
}

/* False when a limit is broken; `bed` is then nothing to go by. */
bool bed_read(struct bed *bed, const uint8_t *fields);
uint16_t bed_check_of(const uint8_t *fields);
bool bed_is_same(const struct bed *one, const struct bed *other);

/* How far beyond a sensor's place a carriage can still be on the bed. */
static inline int16_t bed_beyond(const struct bed *bed)
{
    return (int16_t)(OFF_THE_BED_NEEDLES * bed->edges_per_needle);
}

#endif
