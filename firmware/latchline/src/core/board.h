/* The board without its hardware: one struct that the caller owns, ports as callbacks, no heap.
 *
 * Everything here runs in one thread. The chip's interrupts only note edges and bytes, keep the coils'
 * time (coils.h) and put out what was prepared; the main thread then calls board_edge, board_byte,
 * board_beat and board_work, none of which waits. docs/protocol.md is what it follows. */
#ifndef LATCHLINE_BOARD_H
#define LATCHLINE_BOARD_H

#include <stdbool.h>
#include <stdint.h>

#include "coils.h"
#include "frames.h"
#include "limits.h"
#include "run.h"

enum { PIN_A = 1, PIN_B = 2, PIN_LEFT = 4, PIN_RIGHT = 8 };

struct ports {
    void *world; /* handed back to every callback */
    void (*put_register)(void *world, uint16_t coils);
    void (*enable)(void *world, bool on);
    void (*lamp)(void *world, bool on);
    void (*buzzer)(void *world, bool on);
    uint8_t (*pins)(void *world);
    uint32_t (*ticks)(void *world);
    uint16_t (*supply)(void *world);
    uint16_t (*current)(void *world);
    uint32_t (*chance)(void *world);
    bool (*line_idle)(void *world);
    void (*send)(void *world, const uint8_t *bytes, uint8_t length);
    bool (*memory_busy)(void *world);
    uint8_t (*memory_read)(void *world, uint16_t at);
    void (*memory_write)(void *world, uint16_t at, uint8_t byte); /* only begins it */
    void (*hold)(void);    /* from here no interrupt touches the coils */
    void (*release)(void); /* until here */
};

struct bed {
    uint16_t needles;
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
};

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

/* A pass from its PASS to its SEEN: a mask until it is done, then its report. */
struct slot {
    bool rightward;
    union {
        uint8_t mask[MASK_BYTES];
        struct report report;
    } held;
};

/* A place among the needles of the plan in the pass's order: `index` needles lie behind it, and `point`
 * is where the next one is met. */
struct mark {
    uint8_t index;
    int16_t point;
};

enum pass_state { PASS_NONE, PASS_ARMED, PASS_UNDER_WAY };

struct position {
    int16_t count;
    int16_t lowest;  /* of the stretch that `furthest` tells of */
    int16_t highest;
    bool certain;
    bool rightward;  /* direction of the edge before */
    bool moving;     /* there was an edge before that the next one's interval may be measured from */
    uint8_t pins;    /* at the edge before */
    uint32_t tick;   /* of the edge before */
    uint16_t interval;
    int8_t correction;
};

struct plan {
    uint32_t fingerprint; /* 0: none */
    uint32_t first;
    uint32_t last;
    uint32_t received;
    uint32_t done;
    uint32_t seen;
    int16_t left_line;
    int16_t right_line;
    uint8_t first_needle;
    uint8_t last_needle;
    bool paused;
    bool pause_wanted;
};

/* The pass that is armed or under way. */
struct under_way {
    enum pass_state state;
    bool rightward;
    bool forward;        /* the edge before went forward, in this pass */
    uint8_t advance;     /* edges, for the next edge; never above the bed's advance_max */
    uint8_t tenth;       /* that is running */
    int16_t start_line;  /* in terms of q */
    int16_t finish_line;
    int16_t furthest;    /* q */
    int16_t reach;
    int16_t prepared;    /* q for which coils.coming was worked out */
    int16_t tenth_end;   /* q */
    uint32_t tenth_start;
    struct mark behind;  /* first needle whose point is past q - hold */
    struct mark ahead;   /* first needle whose point is past reach */
    struct mark next;    /* first needle whose point is at or past q */
    uint16_t woken;      /* coils whose rest this edge ended */
    uint16_t revived;    /* coils on again after a rest */
    uint32_t changed_at[SELECTORS_MAX]; /* tick at which each coil last went on or off */
    uint8_t driven[MASK_BYTES];
    struct report report;
};

struct fault {
    uint8_t number; /* 0: none */
    uint8_t needle;
    uint32_t fingerprint;
    uint32_t pass;
    int16_t position;
    uint16_t detail;
    uint16_t age_ms; /* since it was last sent */
};

struct counts {
    uint32_t edges;
    uint16_t impossible;
    uint16_t left_on;
    uint16_t right_on;
    uint16_t reversals;
    uint16_t bad_frames;
    uint16_t overruns;
    uint16_t stale;
    uint16_t shortest;
};

/* What is due to be sent; in this order. */
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
};

struct link {
    struct receiver receiver;
    struct sender sender;
    uint16_t due;
    bool oldest_done; /* the DONE that is due is the oldest one not seen, not the newest */
    bool greeted;
    bool wrong_version;
    uint32_t nonce;
    uint8_t refused_type;
    uint8_t refused_reason;
    uint32_t silent_ms;
    uint16_t status_age_ms;
    uint16_t done_age_ms;
    struct told told;
};

struct checkpoint {
    bool valid;
    bool waiting;      /* newer numbers are to be written: */
    uint32_t due_fingerprint;
    uint32_t due_done;
    uint8_t slot;      /* the newest whole one, or that being written */
    uint8_t job_length;
    uint8_t job_step;  /* bytes written so far */
    uint16_t sequence;
    uint32_t fingerprint;
    uint32_t done;
    uint16_t job_at;
    uint8_t job[CHECKPOINT_BYTES];
};

struct probe {
    uint8_t selector;
    uint8_t left_ms; /* 0: none */
    uint16_t supply_idle;
    uint16_t supply_on;
    uint16_t current_idle;
    uint16_t current_on;
};

struct beats {
    uint16_t beat; /* milliseconds since the start, modulo 1000 */
    uint16_t buzz_ms;
    uint8_t supply_low;
    uint8_t current_high;
    uint16_t supply;
    uint16_t current;
    bool enabled;
    bool lamp;
    bool buzzer;
};

struct board {
    const struct ports *ports;
    struct position position;
    struct run run;
    struct coils coils;
    struct under_way pass;
    struct bed bed;
    struct plan plan;
    struct fault fault;
    struct counts counts;
    struct beats beats;
    struct probe probe;
    struct checkpoint checkpoint;
    struct link link;
    bool bed_set;
    uint16_t bed_check;
    uint16_t boots;
    uint32_t number;
    uint8_t reset_cause;
    struct slot slots[SLOTS];
};

/* All coils must be off and the outputs disabled before this; it keeps them so. */
void board_start(struct board *board, const struct ports *ports, uint8_t reset_cause);

/* The sensor pins as they were at this tick, at each change of A or B. May be left out for an edge that
 * run_edge has counted. */
void board_edge(struct board *board, uint8_t pins, uint32_t tick);

/* Edges came that could not be noted; the port has already switched the coils off. */
void board_edges_lost(struct board *board);

void board_byte(struct board *board, uint8_t byte);
void board_bytes_lost(struct board *board);

/* Once a millisecond, after coils_beat. */
void board_beat(struct board *board);

/* One small step of what may wait (sending, memory); true while there is more to do at once. */
bool board_work(struct board *board);

#endif
