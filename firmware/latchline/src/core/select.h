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
    bool active_low;    /* the needles that are not selected need current */
    uint8_t count;      /* selectors */
    uint8_t apart;      /* edges from needle to needle */
    uint8_t used;       /* needles */
    uint8_t hold;
    uint8_t advance_max;
    uint16_t acting;    /* ticks that a selector needs */
    /* along the pass */
    int16_t at;         /* q for which `chosen` was worked out */
    uint16_t chosen;    /* coils on for the needles from `behind` to `ahead` */
    uint16_t revived;   /* coils on again after a rest */
    uint8_t met;        /* needles from the first one up to the furthest one met */
    struct mark behind; /* first needle whose point is past q - hold */
    struct mark ahead;  /* first needle whose point is past q + advance_max */
    struct mark next;   /* first needle whose point is at or past q */
};

/* What stands at the selector, and what it does. */
struct standing {
    uint16_t latched;
    uint16_t resting;
    const uint32_t *changed_at;
    uint32_t tick;
};

void select_begin(struct select *select, const struct bed *bed, const struct plan *plan, const struct slot *slot);

/* The register at an edge at q, rests apart. */
uint16_t select_edge(struct select *select, int16_t q);

/* The coils that go on again, of those whose rest is over; `coils` are those that are on now. */
void select_revive(struct select *select, uint16_t over, uint16_t coils);

/* The register at the coming edge, if that goes forward to q. */
uint16_t select_coming(struct select *select, int16_t q, int16_t finish_line);

/* The needle that is met at q, if any, gets what was last put out; into `driven`. */
struct verdict select_drive(struct select *select, int16_t q, const struct standing *standing, uint8_t *driven);

/* First needle whose point lies at or ahead of q; the last one if there is none. */
uint8_t select_needle(const struct select *select, int16_t q);

/* The furthest one met. */
uint8_t select_furthest(const struct select *select);

#endif
