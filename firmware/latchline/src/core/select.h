/* Which coils are on where (docs/protocol.md section 7). Pure: plan and place to register and verdict. */
#ifndef LATCHLINE_SELECT_H
#define LATCHLINE_SELECT_H

#include <stdbool.h>
#include <stdint.h>

#include "bed.h"
#include "faults.h"
#include "plan.h"

/* A place among the needles of the plan in the pass's order: `index` needles lie behind it, and `point`
 * is where the next one is met. */
struct mark {
    uint8_t index;
    uint8_t needle;
    uint8_t selector;
    int16_t point;
};

struct select {
    /* of bed, plan and pass, as the pass goes */
    const uint8_t *mask;
    bool rightward;
    bool bank;
    uint8_t count;      /* selectors */
    uint8_t apart;      /* edges from needle to needle */
    uint8_t used;       /* needles */
    uint8_t hold;
    uint8_t advance_max;
    bool active_low;
    uint16_t inverted;  /* coils that select when they are off */
    uint16_t acting;    /* ticks that a selector needs */
    /* along the pass */
    int16_t reach;      /* furthest point that has been switched */
    int16_t prepared;   /* q for which `coming` was worked out */
    uint16_t coming;
    uint16_t chosen;    /* selectors on for the needles from `behind` to `ahead` */
    uint16_t revived;   /* coils on again after a rest */
    struct mark behind; /* first needle whose point is past q - hold */
    struct mark ahead;  /* first needle whose point is past reach */
    struct mark next;   /* first needle whose point is at or past q */
};

void select_begin(struct select *select, const struct bed *bed, const struct plan *plan, const struct slot *slot,
                  int16_t start_line);

/* The register at an edge at q; `advance` is that of the edge before, `woken` the coils whose rest it ended. */
uint16_t select_edge(struct select *select, int16_t q, bool forward, uint8_t advance, uint16_t woken);

/* The register at the coming edge, if that goes forward to q. */
uint16_t select_coming(struct select *select, int16_t q, uint8_t advance, int16_t finish_line);

/* The needle that the selector stands at, if any, gets what was last put out; into `driven`. */
struct verdict select_drive(const struct select *select, int16_t q, uint16_t latched, const uint32_t *changed_at,
                            uint32_t tick, uint8_t *driven);

/* First needle whose point lies at or ahead of q; the last one if there is none. */
uint8_t select_needle(const struct select *select, int16_t q);

#endif
