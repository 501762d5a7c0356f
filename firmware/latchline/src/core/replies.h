/* What the board says: one payload for each kind that is due, with the values of the moment. */
#ifndef LATCHLINE_REPLIES_H
#define LATCHLINE_REPLIES_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"

/* What STATUS last told, to see whether it would tell anything new. */
struct told {
    uint32_t fingerprint;
    uint32_t received;
    uint32_t armed;
    uint32_t done;
    uint32_t credit;
    uint16_t flags;
    uint16_t rests;
    uint8_t fault;
    uint32_t run;
};

/* What is known only here and on the line. */
struct replies {
    uint32_t nonce;
    uint8_t refused_type;
    uint8_t refused_reason;
    uint16_t bad_frames;
    uint16_t overruns;
    uint16_t stale;
    struct told told;
};

void replies_told(const struct board *board, struct told *told);
bool replies_anything_new(const struct replies *replies, const struct board *board);

/* The first kind that is due, taken from what is due, into `payload` with its length; 0 when none is. */
uint16_t replies_compose(struct replies *replies, struct board *board, uint8_t *payload, uint8_t *length);

#endif
