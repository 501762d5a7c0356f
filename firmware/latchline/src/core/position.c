/* Where the carriage is: encoder, end sensors, and which edges need a closer look. */
#include "rooms.h"

/* Step for (A, B before) x 4 + (A, B now), A being bit 0: rightward 0, 1, 3, 2, 0. */
enum { STAY = 0, RIGHT = 1, LEFT = -1, BROKEN = 2 };

static const int8_t steps[16] = {
    STAY,  RIGHT, LEFT,   BROKEN, /* from 0 to 0, 1, 2, 3 */
    LEFT,  STAY,  BROKEN, RIGHT,  /* from 1 */
    RIGHT, BROKEN, STAY,  LEFT,   /* from 2 */
    BROKEN, LEFT, RIGHT,  STAY    /* from 3 */
};

static int16_t off_the_bed(const struct board *board)
{
    return (int16_t)(OFF_THE_BED_NEEDLES * board->bed.edges_per_needle);
}

/* Where an edge has no more to do than to count: away from the lines, with no pass under way, nothing
 * at rest. Everything else goes through the whole of board_edge. */
void quiet_find(struct board *board)
{
    const struct position *position = &board->position;
    struct quiet *quiet = &board->quiet;
    quiet->low = 0;
    quiet->high = 0;
    if (!board->bed_set || board->pass.state == PASS_UNDER_WAY || board->coils.rested != 0)
        return;
    if (!position->certain) {
        quiet->low = INT16_MIN;
        quiet->high = INT16_MAX;
        return;
    }
    quiet->low = (int16_t)(board->bed.left_sensor - off_the_bed(board) - 1);
    quiet->high = (int16_t)(board->bed.right_sensor + off_the_bed(board) + 1);
    if (board->plan.fingerprint == 0)
        return;
    if (position->count <= board->plan.left_line) {
        quiet->high = board->plan.left_line;
    } else if (position->count >= board->plan.right_line) {
        quiet->low = board->plan.right_line;
    } else {
        quiet->low = board->plan.left_line;
        quiet->high = board->plan.right_line;
    }
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
    uint8_t before = position->pins;
    int8_t way = steps[(before & PINS_AB) << 2 | (pins & PINS_AB)];
    bool rightward = way == RIGHT;
    uint16_t interval;
    if (way == STAY)
        return; /* a pulse that was gone before it could be read */
    position->pins = pins;
    if (way == BROKEN) {
        coils_end_rest(board);
        impossible(board, before, pins);
        quiet_find(board);
        return;
    }
    interval = interval_to(position, tick, rightward);
    if (interval < board->counts.shortest)
        board->counts.shortest = interval;
    board->counts.edges++;
    position->interval = interval;
    position->tick = tick;
    if (position->moving && position->rightward == rightward && (before & ~PINS_AB) == (pins & ~PINS_AB)) {
        int16_t count = (int16_t)(position->count + way);
        if (count > board->quiet.low && count < board->quiet.high) {
            position->count = count;
            return;
        }
    } else if (position->moving && position->rightward != rightward) {
        count_up(&board->counts.reversals);
    }
    position->moving = true;
    position->rightward = rightward;
    coils_end_rest(board);
    step(board, before, pins, rightward, tick);
    pass_arm_or_not(board);
    quiet_find(board);
}

void board_edges_lost(struct board *board)
{
    board->position.pins = board->ports->pins(board->ports->world);
    position_forget_edge(&board->position);
    if (board->bed_set)
        fault_raise(board, FAULT_EDGES_TOO_FAST, NO_NEEDLE, 0);
    quiet_find(board);
}
