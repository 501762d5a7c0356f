/* The bed that the host has told the board of (docs/protocol.md section 4). */
#ifndef LATCHLINE_BED_H
#define LATCHLINE_BED_H

#include <stdbool.h>
#include <stdint.h>

#include "limits.h"

#define BED_FIELDS 37 /* bytes of BED after the type */

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
    uint8_t duty;  /* sixteenths; never 0: what the host left open is worked out */
    uint16_t brisk;
    bool passing;
    int16_t middle_left;
    int16_t middle_right;
};

static inline bool bed_has_middle(const struct bed *bed)
{
    return bed->middle_left <= bed->middle_right;
}

static inline uint8_t bed_tolerance(const struct bed *bed)
{
    return bed->tolerance > TOLERANCE_MOST ? TOLERANCE_MOST : bed->tolerance;
}

static inline uint8_t bed_hysteresis(const struct bed *bed)
{
    uint8_t edges = (uint8_t)(2 * bed->edges_per_needle);
    return edges > HYSTERESIS_LEAST ? edges : HYSTERESIS_LEAST;
}

/* Edges from a needle to the next one of the same selector. */
static inline uint16_t bed_room(const struct bed *bed)
{
    return (uint16_t)((bed->bank ? bed->count : 1) * bed->edges_per_needle);
}

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
