/* The arithmetic of places with every bed, plan and position that the protocol allows, for Frama-C's EVA with
 * 16-bit int: `make -C firmware analysis`. EVA must find no overflow. The sources are included, because the
 * functions are their own business. */
#include "../latchline/src/core/position.c"
#include "../latchline/src/core/selectors.c"
#include "../latchline/src/core/passes.c"

#include "__fc_builtin.h"

/* As far as a certain position goes before fault 14, and one edge more. */
#define BEYOND (OFF_THE_BED_NEEDLES * EDGES_PER_NEEDLE_MAX + 1)
#define LEFTMOST (LEFT_SENSOR_MIN - BEYOND)
#define RIGHTMOST (RIGHT_SENSOR_MAX + BEYOND)
#define Q_MOST (RIGHTMOST > -(LEFTMOST) ? RIGHTMOST : -(LEFTMOST))

static int16_t any(int least, int most)
{
    return (int16_t)Frama_C_interval(least, most);
}

static void any_board(struct board *board)
{
    board->bed.edges_per_needle = (uint8_t)any(1, EDGES_PER_NEEDLE_MAX);
    board->bed.left_sensor = any(LEFT_SENSOR_MIN, -1);
    board->bed.right_sensor = any(1, RIGHT_SENSOR_MAX);
    board->bed.tolerance = (uint8_t)any(0, 255);
    board->bed.count = (uint8_t)any(1, SELECTORS_MAX);
    board->bed.lead_leftward = any(-LEAD_MAX, LEAD_MAX);
    board->bed.lead_rightward = any(-LEAD_MAX, LEAD_MAX);
    board->bed.advance = (uint16_t)Frama_C_unsigned_int_interval(1, 65535U);
    board->bed.advance_max = (uint8_t)any(1, 255);
    board->bed.hold = (uint8_t)any(1, 255);
    board->bed.active_low = any(0, 1) != 0;
    board->plan.fingerprint = Frama_C_unsigned_long_interval(0, 0xFFFFFFFFUL);
    board->plan.left_line = any(LEFT_SENSOR_MIN + 1, RIGHT_SENSOR_MAX - 2);
    board->plan.right_line = any(LEFT_SENSOR_MIN + 2, RIGHT_SENSOR_MAX - 1);
    board->plan.first_needle = (uint8_t)any(0, 254);
    board->plan.last_needle = (uint8_t)any(0, 254);
    board->position.certain = any(0, 1) != 0;
    board->position.count = any(LEFTMOST, RIGHTMOST);
    board->position.tick = Frama_C_unsigned_long_interval(0, 0xFFFFFFFFUL);
    board->position.moving = any(0, 1) != 0;
    board->position.rightward = any(0, 1) != 0;
    board->pass.rightward = any(0, 1) != 0;
    board->pass.advance = (uint8_t)any(1, 255);
    board->pass.reach = any(-Q_MOST, Q_MOST + 255);
    board->pass.start_line = any(-RIGHT_SENSOR_MAX, RIGHT_SENSOR_MAX);
    board->pass.finish_line = any(-RIGHT_SENSOR_MAX, RIGHT_SENSOR_MAX);
}

int main(void)
{
    static struct board board;
    int16_t low;
    int16_t high;
    int16_t q;
    any_board(&board);
    q = any(-Q_MOST, Q_MOST);
    quiet_between(&board, &low, &high);
    step_count(&board.position, any(0, 1) != 0);
    (void)interval_to(&board.position, Frama_C_unsigned_long_interval(0, 0xFFFFFFFFUL), any(0, 1) != 0);
    (void)along(&board.pass, board.position.count);
    (void)point_of_first(&board);
    (void)inverted(&board);
    (void)acting_ticks(&board);
    (void)advance_kept(&board, advance_edges(&board, (uint16_t)Frama_C_unsigned_int_interval(0, 65535U)));
    (void)tenth_ends(&board.pass, (uint8_t)any(1, 11));
    (void)divided_by_64(Frama_C_unsigned_long_interval(0, 0xFFFFFFFFUL));
    (void)entered(&board, any(LEFTMOST, RIGHTMOST), any(0, 1) != 0);
    (void)reach_forward(&board, q);
    (void)(int16_t)(q - board.bed.hold);
    (void)(int16_t)(q + board.bed.advance_max);
    return 0;
}
