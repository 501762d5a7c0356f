/* The coils: what is wanted of them, what rests, what was last put out, and the one output that is prepared for the
 * coming edge; enable and lamp. Interrupts share the volatile part. */
#ifndef LATCHLINE_DRIVE_H
#define LATCHLINE_DRIVE_H

#include <stdbool.h>
#include <stdint.h>

#include "edges.h"
#include "limits.h"
#include "ports.h"

struct drive {
    struct edges edges;
    volatile uint8_t ready;     /* 1: what lies in the register is latched by the awaited edge, and none counts */
    volatile uint8_t disturbed; /* 1: a rest has overwritten what lay in the register */
    volatile uint16_t coming;   /* what lies there for that edge */
    volatile uint16_t latched;  /* register as last put out */
    volatile uint16_t wanted;   /* register that section 7 asks for */
    volatile uint16_t rested;   /* coils put to rest since the last edge */
    volatile uint16_t rests;    /* how many were, ever; stops at its end */
    uint16_t limit_ms;
    uint16_t timed;             /* coils whose time on is not zero */
    uint16_t on_ms[SELECTORS_MAX];
    uint32_t changed_at[SELECTORS_MAX]; /* tick at which each coil was last wanted on or off */
    const struct ports *ports;
    bool enabled;
    bool lamp;
};

void drive_start(struct drive *drive, const struct ports *ports);
void drive_limit(struct drive *drive, uint16_t limit_ms);

/* Puts `coils` out unless the edge interrupt has; true if it had not. */
bool drive_put(struct drive *drive, uint16_t coils, uint32_t tick);

/* Leaves `coils` in the register for the coming edge, that with these pins. */
void drive_prepare(struct drive *drive, uint16_t coils, uint8_t pins);

/* What was prepared is no longer to be latched. */
void drive_forget(struct drive *drive);

/* Ends all rests at an edge; the coils that rested. */
uint16_t drive_end_rests(struct drive *drive);
uint16_t drive_latched(const struct drive *drive);
uint16_t drive_rests(const struct drive *drive);

/* Output enable and lamp; true when the outputs have just gone on or off. */
bool drive_show(struct drive *drive, bool enabled, bool lamp);

/* The millisecond interrupt's share: counts the time of every coil that is on, and puts to rest those at
 * their limit, whatever the main loop does. Edges may interrupt it; it may not interrupt itself. */
void drive_beat(struct drive *drive);

/* The edge interrupt's share. The chip has the same by hand (avr/edges.c). False: the edge finds no place, and
 * the caller must switch the outputs off. */
static inline bool drive_edge(struct drive *drive, struct notes *notes, uint8_t pins, uint16_t tick)
{
    struct edges *edges = &drive->edges;
    if (pins == edges->awaited) {
        if (!drive->ready) {
            edges_count(edges, pins, tick);
            return true;
        }
        drive->ports->latch(drive->ports->world);
        drive->latched = drive->coming;
        drive->ready = 0;
    }
    return edges_note(edges, notes, pins, tick);
}

#endif
