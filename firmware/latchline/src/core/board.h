/* The board without its hardware: one struct that the caller owns, no heap.
 *
 * The main loop calls board_edge, board_beat and board_work through what stands above (link.h); none of them waits.
 * The parts below say what they find and what is wrong; only this one acts on it. docs/protocol.md is what
 * it follows. */
#ifndef LATCHLINE_BOARD_H
#define LATCHLINE_BOARD_H

#include <stdbool.h>
#include <stdint.h>

#include "bed.h"
#include "drive.h"
#include "pass.h"
#include "plan.h"
#include "ports.h"
#include "store.h"
#include "track.h"
#include "watch.h"

struct fault {
    uint8_t number; /* 0: none */
    uint8_t needle;
    uint32_t fingerprint;
    uint32_t pass;
    int16_t position;
    uint16_t detail;
};

/* What the board has to say; in this order. */
enum due {
    DUE_BOARD = 1 << 0,
    DUE_BED_TAKEN = 1 << 1,
    DUE_REFUSED = 1 << 2,
    DUE_FAULT = 1 << 3,
    DUE_DONE = 1 << 4,
    DUE_PROBED = 1 << 5,
    DUE_CHECKPOINT = 1 << 6,
    DUE_COUNTS = 1 << 7,
    DUE_STATUS = 1 << 8
};

struct probe {
    uint8_t selector;
    uint8_t left_ms; /* 0: none */
    uint16_t supply_idle;
    uint16_t supply_on;
    uint16_t current_idle;
    uint16_t current_on;
};

struct board {
    void *world;
    const struct notes *notes; /* of the edge interrupt */
    struct drive drive;
    struct track track;
    struct pass pass;
    struct bed bed;
    struct plan plan;
    struct fault fault;
    struct watch watch;
    struct probe probe;
    struct store store;
    struct kept *kept;  /* of the port */
    uint32_t now;       /* tick at the newest beat, which tells the upper half of an edge's */
    uint16_t due;
    uint32_t due_done;  /* the pass of the DONE that is due */
    uint16_t bed_check; /* 0: no bed */
    uint8_t reset_cause;
};

/* All coils must be off and the outputs disabled before this; it keeps them so. */
void board_start(struct board *board, void *world, const struct notes *notes, struct kept *kept,
                 uint8_t reset_cause);

/* Every edge that the edge interrupt (drive_edge) has noted. */
void board_edges(struct board *board);

/* Once a millisecond, after drive_beat. */
void board_beat(struct board *board);

/* One small step of what memory is still to be written; true while there is more to do at once. */
bool board_work(struct board *board);

/* The host has been heard. */
void board_heard(struct board *board);

/* What the host says, between board_ask and board_told. False: refused or dropped. */
void board_ask(struct board *board);
bool board_take_bed(struct board *board, const uint8_t *fields);
bool board_take_plan(struct board *board, const uint8_t *fields);
bool board_take_pass(struct board *board, const uint8_t *fields);
bool board_take_seen(struct board *board, const uint8_t *fields);
bool board_take_pause(struct board *board, uint8_t paused);
bool board_take_clear(struct board *board, uint8_t fault);
void board_take_stop(struct board *board);
bool board_take_probe(struct board *board, uint8_t selector, uint8_t time_ms);
/* After those that may bear on whether the coming pass is armed. */
void board_arm(struct board *board);
void board_told(struct board *board);

/* Takes over what the edge interrupt has counted by itself; how many edges that was. */
uint8_t board_take_run(struct board *board);

#endif
