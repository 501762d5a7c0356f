/* Where the carriage is: encoder, end sensors, and which edges need a closer look. */
#include "rooms.h"

/* Step for (A, B before) x 4 + (A, B now), A being bit 0: rightward 0, 1, 3, 2, 0. */
enum { STAY = 0, RIGHT = 1, LEFT = -1, BROKEN = 2 };

static const int8_t ways[16] = {
    STAY,  RIGHT, LEFT,   BROKEN, /* from 0 to 0, 1, 2, 3 */
    LEFT,  STAY,  BROKEN, RIGHT,  /* from 1 */
    RIGHT, BROKEN, STAY,  LEFT,   /* from 2 */
    BROKEN, LEFT, RIGHT,  STAY    /* from 3 */
};

/* A and B one step on: rightward 0, 1, 3, 2, 0. */
uint8_t pins_after(uint8_t pins, bool rightward)
{
    static const uint8_t onward[4] = {1, 3, 0, 2};
    static const uint8_t back[4] = {2, 0, 3, 1};
    return rightward ? onward[pins & PINS_AB] : back[pins & PINS_AB];
}

static int16_t off_the_bed(const struct board *board)
{
    return (int16_t)(OFF_THE_BED_NEEDLES * board->bed.edges_per_needle);
}

/* Between which counts, both excluded, edges have no more to do than to count. */
static void quiet_between(const struct board *board, int16_t *low, int16_t *high)
{
    const struct position *position = &board->position;
    const struct plan *plan = &board->plan;
    *low = INT16_MIN;
    *high = INT16_MAX;
    if (!position->certain)
        return;
    *low = (int16_t)(board->bed.left_sensor - off_the_bed(board) - 1);
    *high = (int16_t)(board->bed.right_sensor + off_the_bed(board) + 1);
    if (plan->fingerprint == 0)
        return;
    if (position->count <= plan->left_line) {
        *high = plan->left_line;
    } else if (position->count >= plan->right_line) {
        *low = plan->right_line;
    } else {
        *low = plan->left_line;
        *high = plan->right_line;
    }
}

static uint8_t quiet_room(const struct board *board)
{
    const struct position *position = &board->position;
    int16_t low;
    int16_t high;
    uint16_t room;
    if (!board->bed_set || !position->moving || board->pass.state == PASS_UNDER_WAY || board->coils.expect != NO_PINS ||
        board->ports->ticks(board->ports->world) - position->tick > RUN_AGE_TICKS)
        return 0;
    quiet_between(board, &low, &high);
    room = position->rightward ? (uint16_t)((uint16_t)high - (uint16_t)position->count)
                               : (uint16_t)((uint16_t)position->count - (uint16_t)low);
    if (room <= 1)
        return 0;
    return (uint8_t)(room > UINT8_MAX ? UINT8_MAX : room - 1);
}

/* Begins a run, or none. The interrupt must not be counting (`direct` off). */
void run_find(struct board *board)
{
    struct run *run = &board->run;
    const struct position *position = &board->position;
    uint8_t next;
    run->next = NO_PINS;
    run->room = quiet_room(board);
    if (run->room == 0)
        return;
    next = (uint8_t)((position->pins & ~PINS_AB) | pins_after(position->pins, position->rightward));
    run->steps = 0;
    run->tick = (uint16_t)position->tick;
    run->shortest = UINT16_MAX;
    run->toggle = next ^ position->pins;
    run->next = next;
}

/* Takes over what the run has counted so far; the run goes on. */
void run_take(struct board *board)
{
    struct run *run = &board->run;
    struct position *position = &board->position;
    uint8_t steps;
    uint16_t tick;
    board->ports->hold();
    steps = run->steps;
    run->steps = 0;
    run->room = (uint8_t)(run->room - steps);
    tick = run->tick;
    position->pins = steps == 0 ? position->pins : run->pins;
    position->interval = steps == 0 ? position->interval : run->interval;
    if (run->shortest < board->counts.shortest)
        board->counts.shortest = run->shortest;
    run->shortest = UINT16_MAX;
    board->ports->release();
    if (steps == 0)
        return;
    position->tick += (uint16_t)(tick - (uint16_t)position->tick);
    position->count = (int16_t)(position->rightward ? position->count + steps : position->count - steps);
    board->counts.edges += steps;
}

/* Once a millisecond: a run whose latest edge is so old that sixteen bits could not tell how old ends. */
void run_age(struct board *board)
{
    run_take(board);
    if (board->ports->ticks(board->ports->world) - board->position.tick > RUN_AGE_TICKS)
        board->run.next = NO_PINS;
}

void stretch_begin(struct position *position)
{
    position->lowest = position->count;
    position->highest = position->count;
}

static void stretch_include(struct position *position, int16_t count)
{
    if (count < position->lowest)
        position->lowest = count;
    if (count > position->highest)
        position->highest = count;
}

void position_forget_edge(struct position *position)
{
    position->moving = false;
    position->interval = INTERVAL_MAX;
}

void position_lose(struct board *board)
{
    board->position.certain = false;
    position_forget_edge(&board->position);
}

static uint16_t interval_to(const struct position *position, uint32_t tick, bool rightward)
{
    uint32_t gone = tick - position->tick;
    if (!position->moving || rightward != position->rightward || gone > INTERVAL_MAX)
        return INTERVAL_MAX;
    return (uint16_t)gone;
}

/* A sensor on the side to which the carriage moves sets the count, or finds it wrong. False: a fault. */
static bool sensor_reached(struct board *board, int16_t place)
{
    struct position *position = &board->position;
    int16_t wrong = (int16_t)((uint16_t)position->count - (uint16_t)place);
    if (!position->certain) {
        position->certain = true;
        position->count = place;
        stretch_begin(position);
        return true;
    }
    if (wrong > board->bed.tolerance || wrong < -(int16_t)board->bed.tolerance) {
        fault_raise(board, FAULT_SENSOR_DISAGREES, NO_NEEDLE, (uint16_t)wrong);
        return false;
    }
    position->correction = (int8_t)(wrong > 127 ? 127 : wrong < -128 ? -128 : wrong);
    position->count = place;
    return true;
}

/* A sensor that goes on while the carriage moves away from that end tells nothing, unless it should
 * not be there at all. */
static bool sensor_left(struct board *board, int16_t place)
{
    int16_t wrong = (int16_t)((uint16_t)board->position.count - (uint16_t)place);
    if (!board->position.certain)
        return true;
    if (wrong > board->bed.tolerance || wrong < -(int16_t)board->bed.tolerance) {
        fault_raise(board, FAULT_SENSOR_DISAGREES, NO_NEEDLE, (uint16_t)wrong);
        return false;
    }
    return true;
}

static bool sensors_read(struct board *board, uint8_t before, uint8_t pins, bool rightward)
{
    uint8_t went_on = (uint8_t)(before & (uint8_t)~pins);
    if ((went_on & PIN_LEFT) != 0)
        count_up(&board->counts.left_on);
    if ((went_on & PIN_RIGHT) != 0)
        count_up(&board->counts.right_on);
    if ((pins & (PIN_LEFT | PIN_RIGHT)) == 0) {
        fault_raise(board, FAULT_BOTH_SENSORS, NO_NEEDLE, pins);
        return false;
    }
    if ((went_on & PIN_LEFT) != 0)
        return rightward ? sensor_left(board, board->bed.left_sensor) : sensor_reached(board, board->bed.left_sensor);
    if ((went_on & PIN_RIGHT) != 0)
        return rightward ? sensor_reached(board, board->bed.right_sensor) : sensor_left(board, board->bed.right_sensor);
    return true;
}

static void step_count(struct position *position, bool rightward)
{
    if (rightward) {
        if (position->count != INT16_MAX)
            position->count++;
    } else {
        if (position->count != INT16_MIN)
            position->count--;
    }
}

/* One real step: everything in the order of docs/protocol.md section 5. */
static void step(struct board *board, uint8_t before, uint8_t pins, bool rightward, uint32_t tick)
{
    struct position *position = &board->position;
    int16_t came_from = position->count;
    bool was_certain = position->certain;
    if (!board->bed_set)
        return;
    step_count(position, rightward);
    if (!sensors_read(board, before, pins, rightward))
        return;
    if (!position->certain)
        return;
    if (position->count < board->bed.left_sensor - off_the_bed(board) ||
        position->count > board->bed.right_sensor + off_the_bed(board)) {
        fault_raise(board, FAULT_OFF_THE_BED, NO_NEEDLE, 0);
        return;
    }
    if (was_certain)
        stretch_include(position, came_from);
    stretch_include(position, position->count);
    pass_edge(board, came_from, rightward, tick);
}

static void impossible(struct board *board, uint8_t before, uint8_t pins)
{
    count_up(&board->counts.impossible);
    position_forget_edge(&board->position);
    if (board->bed_set)
        fault_raise(board, FAULT_IMPOSSIBLE_STEP, NO_NEEDLE, (uint16_t)(before * 16 + pins));
}

void board_edge(struct board *board, uint8_t pins, uint32_t tick)
{
    struct position *position = &board->position;
    uint8_t before;
    int8_t way;
    bool rightward;
    uint16_t interval;
    if (run_edge(&board->run, pins, (uint16_t)tick))
        return;
    run_take(board);
    before = position->pins;
    way = ways[(before & PINS_AB) << 2 | (pins & PINS_AB)];
    rightward = way == RIGHT;
    if (way == STAY)
        return; /* a pulse that was gone before it could be read */
    position->pins = pins;
    coils_end_rest(board);
    if (way == BROKEN) {
        impossible(board, before, pins);
        run_find(board);
        return;
    }
    interval = interval_to(position, tick, rightward);
    if (interval < board->counts.shortest)
        board->counts.shortest = interval;
    board->counts.edges++;
    if (position->moving && position->rightward != rightward)
        count_up(&board->counts.reversals);
    position->interval = interval;
    position->tick = tick;
    position->moving = true;
    position->rightward = rightward;
    step(board, before, pins, rightward, tick);
    pass_arm_or_not(board);
    run_find(board);
}

void board_edges_lost(struct board *board)
{
    run_take(board);
    board->position.pins = board->ports->pins(board->ports->world);
    position_forget_edge(&board->position);
    if (board->bed_set)
        fault_raise(board, FAULT_EDGES_TOO_FAST, NO_NEEDLE, 0);
    run_find(board);
}
