/* The plan in force and its passes, each from its PASS to its SEEN (docs/protocol.md section 6). */
#ifndef LATCHLINE_PLAN_H
#define LATCHLINE_PLAN_H

#include <stdbool.h>
#include <stdint.h>

#include "bed.h"

/* DONE from `digest` on, but for what the slot's place tells. */
struct report {
    uint32_t start;
    uint16_t tenths[10];
    uint16_t digest;
    uint8_t backings;
    uint8_t backed;
    uint8_t stops;
    uint8_t advance;
    uint16_t shortest;
    int16_t furthest;
    int8_t correction;
};

struct lines {
    int16_t left;
    int16_t right;
};

/* A mask and its lines until the pass is done, then its report. */
struct slot {
    bool rightward;
    union {
        struct {
            uint8_t mask[MASK_BYTES];
            struct lines lines;
        } coming;
        struct report report;
    } held;
};

struct plan {
    uint32_t fingerprint; /* 0: none */
    uint32_t first;
    uint32_t last;
    uint32_t received;
    uint32_t done;
    uint32_t seen;
    uint32_t run;
    struct lines lines;
    struct lines last_lines; /* of the pass that was done last, if any was: */
    bool any_done;
    uint8_t first_needle;
    uint8_t last_needle;
    bool paused;
    bool pause_wanted;
    uint16_t pause_left_ms; /* until it takes effect with a pass armed */
    struct slot slots[SLOTS];
};

static inline bool plan_in_force(const struct plan *plan)
{
    return plan->fingerprint != 0;
}

static inline struct slot *plan_slot(struct plan *plan, uint32_t number)
{
    return &plan->slots[(uint8_t)(number - 1) & (SLOTS - 1)];
}

static inline const struct slot *plan_slot_seen(const struct plan *plan, uint32_t number)
{
    return &plan->slots[(uint8_t)(number - 1) & (SLOTS - 1)];
}

static inline bool plan_coming_loaded(const struct plan *plan)
{
    return plan->received != plan->done;
}

/* A pass is still to be knitted. */
static inline bool plan_goes_on(const struct plan *plan)
{
    return plan_in_force(plan) && plan->done != plan->last;
}

/* The pass that is armed, under way or coming; 0 without a plan. */
static inline uint32_t plan_coming(const struct plan *plan)
{
    return plan_in_force(plan) ? plan->done + 1 : 0;
}

void plan_clear(struct plan *plan);

/* Whether the plan in these fields may be put in force on this bed, and doing so. */
bool plan_fits(const struct bed *bed, const uint8_t *fields);
void plan_begin(struct plan *plan, const uint8_t *fields);

/* False: stale. */
bool plan_take_pass(struct plan *plan, const struct bed *bed, const uint8_t *fields);

/* False: dropped. */
bool plan_take_seen(struct plan *plan, const uint8_t *fields);

#endif
