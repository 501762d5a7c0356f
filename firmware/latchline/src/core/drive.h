/* The coils: what is wanted of them, what rests, what was last put out, and the one output that is prepared for the
 * coming edge; enable and lamp. Interrupts share the volatile part. */
#ifndef LATCHLINE_DRIVE_H
#define LATCHLINE_DRIVE_H

#include <stdbool.h>
#include <stdint.h>

#include "bed.h"
#include "edges.h"
#include "limits.h"
#include "ports.h"

struct drive {
    struct edges edges;
    volatile uint8_t ready;     /* 1: what lies in the register is latched by the awaited edge, and none counts */
    volatile uint8_t disturbed; /* 1: a rest has overwritten what lay in the register */
    volatile uint16_t coming;   /* what lies there for that edge */
    volatile uint16_t latched;  /* register as last put out */
    volatile uint16_t wanted;   /* register that section 7 asked for at the last edge, rests apart */
    volatile uint16_t resting;  /* coils at rest */
    volatile uint16_t rests;    /* how many were put to rest, ever; stops at its end */
    volatile uint16_t beat_tick; /* of the newest beat, low half */
    volatile uint16_t beat_found; /* register as that beat found it */
    /* budgets (section 8), in sixteenths of a tick */
    uint16_t limit_ms;
    int32_t up;                 /* for a beat on */
    int32_t down;               /* for a beat off */
    int32_t full;
    int32_t cool;               /* no more than this ends a rest */
    uint16_t warm;              /* coils that are on, or whose budget is not zero */
    uint16_t on_ms[SELECTORS_MAX];
    int32_t budget[SELECTORS_MAX];
    uint32_t changed_at[SELECTORS_MAX]; /* tick at which each coil was last wanted on or off */
    void *world;
    bool enabled;
    bool lamp;
};

void drive_start(struct drive *drive, void *world);

/* Other limits from now on, with all coils off; the budgets stay as they are. */
void drive_set_bed(struct drive *drive, const struct bed *bed);

/* Puts `coils` out, but for those at rest, unless the edge interrupt has; true if it had not. */
bool drive_put(struct drive *drive, uint16_t coils, uint32_t tick);

/* Leaves `coils`, but for those at rest, in the register for the coming edge, that with these pins. */
void drive_prepare(struct drive *drive, uint16_t coils, uint8_t pins);

/* What was prepared is no longer to be latched. */
void drive_forget(struct drive *drive);

/* At an edge: the coils whose rest is over. */
uint16_t drive_end_rests(struct drive *drive);
uint16_t drive_resting(const struct drive *drive);
uint16_t drive_latched(const struct drive *drive);
uint16_t drive_rests(const struct drive *drive);
int32_t drive_budget(const struct drive *drive, uint8_t coil);

/* Output enable and lamp; true when the outputs have just gone on or off. */
bool drive_show(struct drive *drive, bool enabled, bool lamp);

/* The millisecond interrupt's share: keeps the budget of every coil, and puts to rest those that have used it up or
 * are on for their limit, whatever the main loop does. Edges may interrupt it; it may not interrupt itself. */
void drive_beat(struct drive *drive, uint16_t tick);

/* The edge interrupt's share. The chip has the same by hand (avr/edges.c). False: the edge finds no place, and
 * the caller must switch the outputs off. */
static inline bool drive_edge(struct drive *drive, struct notes *notes, uint8_t pins, uint16_t tick)
{
    struct edges *edges = &drive->edges;
    if (!drive->ready) {
        if ((pins & PINS_AT_EDGE) == edges->awaited) {
            edges_count(edges, pins & PINS_AT_EDGE, tick);
            return true;
        }
    } else if (((pins ^ edges->awaited) & PINS_AB) == 0) { /* whatever a sensor does meanwhile */
        port_latch(drive->world);
        drive->latched = drive->coming;
        drive->ready = 0;
    }
    return edges_note(edges, notes, pins, tick);
}

#endif
