/* The line: what the host says, and when the board speaks (docs/protocol.md sections 3 and 10). The top of the core:
 * ports call this, and this calls the board. */
#ifndef LATCHLINE_LINK_H
#define LATCHLINE_LINK_H

#include <stdbool.h>
#include <stdint.h>

#include "board.h"
#include "frames.h"
#include "replies.h"

struct link {
    struct receiver receiver;
    struct sender sender;
    struct replies replies;
    bool greeted;
    bool wrong_version;
    uint16_t status_age_ms;
    uint16_t done_age_ms;
    uint16_t fault_age_ms;
};

/* After board_start. */
void link_start(struct link *link, struct board *board);

/* What is heard, some bytes at a time; how many of `count` were taken, which is all or those up to the end of a frame. */
uint8_t link_bytes(struct link *link, struct board *board, const uint8_t *bytes, uint8_t count);
void link_bytes_lost(struct link *link);

/* Once a millisecond: the board's beat, then the line's. */
void link_beat(struct link *link, struct board *board);

/* One small step of what may wait (sending, memory); true while there is more to do at once. */
bool link_work(struct link *link, struct board *board);

#endif
