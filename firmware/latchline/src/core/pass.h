/* One pass: armed, under way, done (docs/protocol.md sections 6 and 9). */
#ifndef LATCHLINE_PASS_H
#define LATCHLINE_PASS_H

#include <stdbool.h>
#include <stdint.h>

#include "bed.h"
#include "faults.h"
#include "plan.h"
#include "select.h"
#include "track.h"

enum pass_state { PASS_NONE, PASS_ARMED, PASS_UNDER_WAY };

/* The pass that is armed or under way. */
struct pass {
    uint8_t state; /* of enum pass_state */
    bool rightward;
    bool forward;        /* the edge before went forward, in this pass */
    uint8_t tenth;       /* that is running */
    int16_t start_line;  /* in terms of q */
    int16_t finish_line;
    int16_t furthest;    /* q */
    int16_t tenth_end;   /* q */
    uint32_t tenth_start;
    uint8_t driven[MASK_BYTES];
    struct report report;
    struct select select;
};

enum pass_event {
    PASS_UNTOUCHED, /* none is under way, and none begins */
    PASS_GOES_ON,   /* the selectors follow, at q */
    PASS_AS_NEW,    /* back at its start line, as if not begun */
    PASS_DONE,
    PASS_FAULT
};

struct pass_step {
    uint8_t event; /* of enum pass_event */
    bool forward;
    int16_t q;
    struct verdict verdict;
};

static inline int16_t pass_along(const struct pass *pass, int16_t count)
{
    return pass->rightward ? count : (int16_t)-count;
}

/* Whether the coming pass may be armed with the carriage where it is; its direction and lines are then set. */
bool pass_fits(struct pass *pass, const struct plan *plan, const struct track *track);
void pass_arm(struct pass *pass, const struct bed *bed, const struct plan *plan);

/* A step to a certain place. */
struct pass_step pass_edge(struct pass *pass, const struct bed *bed, const struct track *track, int16_t from);

/* What fault 5 says of a carriage that enters between the lines with no pass armed for its direction. */
struct verdict pass_entered(const struct pass *pass, const struct plan *plan, const struct track *track, int16_t from);

/* Ends the pass and files its report. */
void pass_file(struct pass *pass, const struct bed *bed, struct plan *plan, struct track *track);

uint8_t pass_needle(const struct pass *pass, int16_t count);

#endif
