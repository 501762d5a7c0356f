/* One pass: armed, under way, done (docs/protocol.md sections 6 and 9). */
#include "crc.h"
#include "rooms.h"

#include <string.h>

static int16_t along(const struct under_way *pass, int16_t position)
{
    return pass->rightward ? position : (int16_t)-position;
}

/* 1 + advance / interval, or one more than the bed allows where it is more than that. */
static uint16_t advance_edges(const struct board *board, uint16_t interval)
{
    uint16_t whole = board->bed.advance;
    uint8_t most = board->bed.advance_max;
    if (interval > 1)
        whole = (uint16_t)(whole / interval);
    return whole > most ? (uint16_t)(most + 1u) : (uint16_t)(whole + 1u);
}

static uint8_t advance_kept(const struct board *board, uint16_t edges)
{
    return (uint8_t)(edges > board->bed.advance_max ? board->bed.advance_max : edges);
}

static uint16_t divided_by_64(uint32_t ticks)
{
    ticks >>= 6;
    return ticks > UINT16_MAX ? UINT16_MAX : (uint16_t)ticks;
}

uint32_t pass_number(const struct board *board)
{
    return board->plan.fingerprint == 0 ? 0 : board->plan.done + 1;
}

/* Where tenth `tenth` (1 to 10) ends, in terms of q; tens and ones apart, so that 16 bits do. */
static int16_t tenth_ends(const struct under_way *pass, uint8_t tenth)
{
    int16_t width = (int16_t)(pass->finish_line - pass->start_line);
    return (int16_t)(pass->start_line + width / 10 * tenth + width % 10 * tenth / 10);
}

/* The start of the pass as if it had not begun: nothing driven, nothing reported. */
static void pass_set_up(struct board *board)
{
    struct under_way *pass = &board->pass;
    pass->state = PASS_ARMED;
    memset(&pass->report, 0, sizeof pass->report);
    memset(pass->driven, 0, sizeof pass->driven);
    pass->report.shortest = UINT16_MAX;
    selectors_begin(board);
    coils_off(board);
    outputs_show(board);
}

static void pass_arm(struct board *board)
{
    struct under_way *pass = &board->pass;
    pass->advance = advance_kept(board, advance_edges(board, board->position.interval));
    pass_set_up(board);
}

void pass_abandon(struct board *board)
{
    board->pass.state = PASS_NONE;
    coils_off(board);
    outputs_show(board);
}

static bool pass_may_be_armed(struct board *board)
{
    struct under_way *pass = &board->pass;
    const struct plan *plan = &board->plan;
    if (plan->fingerprint == 0 || !pass_loaded(board) || board->fault.number != FAULT_NONE || plan->paused ||
        !board->position.certain)
        return false;
    pass->rightward = slot_of(board, plan->done + 1)->rightward;
    pass->start_line = pass->rightward ? plan->left_line : (int16_t)-plan->right_line;
    pass->finish_line = pass->rightward ? plan->right_line : (int16_t)-plan->left_line;
    return along(pass, board->position.count) <= pass->start_line;
}

/* Called whenever something has changed that arming depends on. */
void pass_arm_or_not(struct board *board)
{
    struct under_way *pass = &board->pass;
    int16_t q;
    if (pass->state == PASS_UNDER_WAY)
        return;
    if (board->plan.pause_wanted)
        board->plan.paused = true;
    if (!pass_may_be_armed(board)) {
        if (pass->state == PASS_ARMED)
            pass_abandon(board);
        return;
    }
    if (pass->state == PASS_NONE)
        pass_arm(board);
    q = along(pass, board->position.count);
    if (q == pass->start_line)
        selectors_prepare(board, q);
    else
        board->coils.expect = NO_PINS;
}

static void pass_begin(struct board *board, uint32_t tick)
{
    struct under_way *pass = &board->pass;
    pass->state = PASS_UNDER_WAY;
    pass->forward = false;
    pass->furthest = pass->start_line;
    pass->tenth = 0;
    pass->tenth_end = tenth_ends(pass, 1);
    pass->tenth_start = tick;
    pass->report.start = tick;
}

static void count_tenths(struct under_way *pass, int16_t q, uint32_t tick)
{
    while (pass->tenth < 10 && q >= pass->tenth_end) {
        pass->report.tenths[pass->tenth] = divided_by_64(tick - pass->tenth_start);
        pass->tenth_start = tick;
        pass->tenth++;
        pass->tenth_end = tenth_ends(pass, (uint8_t)(pass->tenth + 1));
    }
}

static uint16_t digest(const struct board *board)
{
    const uint32_t numbers[2] = {board->plan.fingerprint, board->plan.done + 1};
    uint16_t crc = CRC_START;
    uint8_t at;
    for (at = 0; at < 8; at++)
        crc = crc_step(crc, (uint8_t)(numbers[at >> 2] >> ((at & 3) * 8)));
    for (at = 0; at < MASK_BYTES; at++)
        crc = crc_step(crc, board->pass.driven[at]);
    return crc;
}

static void pass_done(struct board *board)
{
    struct under_way *pass = &board->pass;
    struct position *position = &board->position;
    struct report *report = &pass->report;
    report->digest = digest(board);
    report->furthest = pass->rightward ? position->lowest : position->highest;
    report->correction = position->correction;
    slot_of(board, board->plan.done + 1)->held.report = *report;
    position->correction = 0;
    stretch_begin(position);
    board->plan.done++;
    board->link.due |= DUE_DONE;
    board->link.oldest_done = false;
    pass_abandon(board);
    checkpoint_due(board);
}

/* True when the edge was the last of the pass, one way or another. */
static bool note_speed(struct board *board, int16_t q, bool first, uint16_t edges, uint32_t tick)
{
    struct under_way *pass = &board->pass;
    uint16_t interval = board->position.interval;
    if (interval < pass->report.shortest)
        pass->report.shortest = interval;
    if (interval > STOP_TICKS && !first)
        count_up_u8(&pass->report.stops);
    if (edges > board->bed.advance_max) {
        fault_raise(board, FAULT_TOO_FAST, NO_NEEDLE, interval);
        return true;
    }
    if (edges > pass->report.advance)
        pass->report.advance = (uint8_t)edges;
    count_tenths(pass, q, tick);
    if (q >= pass->finish_line) {
        pass_done(board);
        return true;
    }
    return false;
}

/* True when the pass is over, or as good as not begun. */
static bool note_backing(struct board *board, int16_t q, bool forward)
{
    struct under_way *pass = &board->pass;
    uint16_t backed;
    if (forward) {
        pass->forward = true;
        if (q > pass->furthest)
            pass->furthest = q;
        return false;
    }
    if (pass->forward)
        count_up_u8(&pass->report.backings);
    pass->forward = false;
    backed = (uint16_t)(pass->furthest - q);
    if (backed > pass->report.backed)
        pass->report.backed = (uint8_t)(backed > UINT8_MAX ? UINT8_MAX : backed);
    if (backed > board->bed.backing) {
        fault_raise(board, FAULT_TURNED_EARLY, NO_NEEDLE, backed);
        return true;
    }
    if (q <= pass->start_line) {
        pass_set_up(board);
        return true;
    }
    return false;
}

static bool entered(const struct board *board, int16_t came_from, bool rightward)
{
    const struct plan *plan = &board->plan;
    return rightward ? came_from == plan->left_line && board->position.count == plan->left_line + 1
                     : came_from == plan->right_line && board->position.count == plan->right_line - 1;
}

static void note_entry(struct board *board, int16_t came_from, bool rightward)
{
    const struct plan *plan = &board->plan;
    uint16_t detail = 2;
    if (plan->fingerprint == 0 || plan->done == plan->last || board->fault.number != FAULT_NONE || plan->paused ||
        !entered(board, came_from, rightward))
        return;
    if (!pass_loaded(board))
        detail = 0;
    else if (slot_of(board, plan->done + 1)->rightward != rightward)
        detail = 1;
    fault_raise(board, FAULT_NOT_READY, NO_NEEDLE, detail);
}

/* A step with the position certain, `position.count` already what the step made of it. */
void pass_edge(struct board *board, int16_t came_from, bool rightward, uint32_t tick)
{
    struct under_way *pass = &board->pass;
    int16_t q = along(pass, board->position.count);
    bool forward = q > along(pass, came_from);
    bool first = pass->state == PASS_ARMED;
    uint16_t edges;
    uint8_t advance_now;
    if (pass->state == PASS_NONE) {
        note_entry(board, came_from, rightward);
        return;
    }
    edges = advance_edges(board, board->position.interval);
    advance_now = advance_kept(board, edges);
    if (first && q > pass->start_line)
        pass_begin(board, tick);
    if (pass->state != PASS_UNDER_WAY) {
        pass->advance = advance_now;
        return;
    }
    if (note_speed(board, q, first, edges, tick))
        return;
    if (note_backing(board, q, forward)) {
        pass->advance = advance_now;
        return;
    }
    selectors_edge(board, q, forward, tick);
    if (forward && pass->state == PASS_UNDER_WAY)
        selectors_drive(board, q, tick);
    if (pass->state != PASS_UNDER_WAY)
        return;
    pass->advance = advance_now;
    selectors_prepare(board, q);
}
