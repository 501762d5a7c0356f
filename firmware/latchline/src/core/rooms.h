/* What the parts of the core know of one another; nobody outside the core includes this. */
#ifndef LATCHLINE_ROOMS_H
#define LATCHLINE_ROOMS_H

#include "board.h"

enum fault_number {
    FAULT_NONE = 0,
    FAULT_IMPOSSIBLE_STEP = 1,
    FAULT_SENSOR_DISAGREES = 2,
    FAULT_BOTH_SENSORS = 3,
    FAULT_TOO_FAST = 4,
    FAULT_NOT_READY = 5,
    FAULT_TURNED_EARLY = 6,
    FAULT_COIL_RESTED = 7,
    FAULT_NEEDLE_NOT_AS_PLANNED = 8,
    FAULT_HOST_SILENT = 9,
    FAULT_SUPPLY_LOW = 10,
    FAULT_CURRENT_HIGH = 11,
    FAULT_CHECKPOINT = 12,
    FAULT_EDGES_TOO_FAST = 13,
    FAULT_OFF_THE_BED = 14,
    FAULT_SELECTOR_LATE = 15
};

#define NO_NEEDLE 255
#define INTERVAL_MAX 65535u

static inline void count_up(uint16_t *counter)
{
    if (*counter != UINT16_MAX)
        (*counter)++;
}

static inline void count_up_u8(uint8_t *counter)
{
    if (*counter != UINT8_MAX)
        (*counter)++;
}

/* faults.c */
void fault_raise(struct board *board, enum fault_number number, uint8_t needle, uint16_t detail);
void fault_clear(struct board *board, uint8_t number);

/* position.c */
void position_lose(struct board *board);
void position_forget_edge(struct position *position);
void stretch_begin(struct position *position);
uint8_t pins_after(uint8_t pins, bool rightward);
void run_take(struct board *board);
void run_find(struct board *board);
void run_age(struct board *board);

/* passes.c */
static inline struct slot *slot_of(struct board *board, uint32_t number)
{
    return &board->slots[(uint8_t)(number - 1) & (SLOTS - 1)];
}

static inline bool pass_loaded(const struct board *board)
{
    return board->plan.received != board->plan.done;
}

void pass_arm_or_not(struct board *board);
void pass_abandon(struct board *board);
void pass_edge(struct board *board, int16_t came_from, bool rightward, uint32_t tick);
uint8_t pass_needle(const struct board *board);
uint32_t pass_number(const struct board *board);

/* plans.c */
bool bed_take(struct board *board, const uint8_t *fields);
bool plan_start(struct board *board, const uint8_t *fields);
void plan_end(struct board *board);
void plan_take_pass(struct board *board, const uint8_t *fields);
void plan_take_seen(struct board *board, const uint8_t *fields);

/* selectors.c */
void selectors_begin(struct board *board);
void selectors_edge(struct board *board, int16_t q, bool forward, uint32_t tick);
void selectors_prepare(struct board *board, int16_t q);
void selectors_drive(struct board *board, int16_t q, uint32_t tick);
void coils_off(struct board *board);
void coils_end_rest(struct board *board);
void outputs_show(struct board *board);
void output_now(struct board *board, uint16_t coils);

/* beats.c */
void probe_end(struct board *board);
bool probe_begin(struct board *board, uint8_t selector, uint8_t time_ms);

/* checkpoint.c */
void checkpoint_start(struct board *board);
void checkpoint_due(struct board *board);
bool checkpoint_work(struct board *board);
bool checkpoint_writing(const struct board *board);

/* link.c, replies.c */
void link_start(struct board *board);
void link_beat(struct board *board);
bool link_work(struct board *board);
void replies_told(const struct board *board, struct told *told);
uint8_t replies_compose(struct board *board, uint8_t *payload);

#endif
