/* When a selector is on (docs/protocol.md section 7), and putting it out. */
#include "rooms.h"

static int16_t point_of_first(const struct board *board)
{
    const struct bed *bed = &board->bed;
    if (board->pass.rightward)
        return (int16_t)((int16_t)(board->plan.first_needle * bed->edges_per_needle) - bed->lead_rightward);
    return (int16_t)(-(int16_t)(board->plan.last_needle * bed->edges_per_needle) - bed->lead_leftward);
}

static uint8_t needles_used(const struct board *board)
{
    return (uint8_t)(board->plan.last_needle - board->plan.first_needle + 1);
}

/* To the first needle whose point is past `limit`. From edge to edge that is at most a few steps. */
static void mark_move(const struct board *board, struct mark *mark, int16_t limit)
{
    uint8_t apart = board->bed.edges_per_needle;
    uint8_t used = needles_used(board);
    while (mark->index < used && mark->point <= limit) {
        mark->index++;
        mark->point = (int16_t)(mark->point + apart);
    }
    while (mark->index > 0 && mark->point - apart > limit) {
        mark->index--;
        mark->point = (int16_t)(mark->point - apart);
    }
}

static uint8_t needle_at(const struct board *board, uint8_t index)
{
    return board->pass.rightward ? (uint8_t)(board->plan.first_needle + index)
                                 : (uint8_t)(board->plan.last_needle - index);
}

static uint8_t selector_of(const struct board *board, uint8_t needle)
{
    if (board->bed.bank)
        return (uint8_t)(needle % board->bed.count);
    return board->bed.count == 2 && !board->pass.rightward ? 1 : 0;
}

/* A shift by a variable costs a loop on the chip. */
static uint16_t coil_bit(uint8_t coil)
{
    static const uint8_t bits[8] = {1, 2, 4, 8, 16, 32, 64, 128};
    uint16_t bit = bits[coil & 7];
    return (uint16_t)(coil < 8 ? bit : bit << 8);
}

static bool mask_bit(const uint8_t *mask, uint8_t needle)
{
    return (mask[needle >> 3] & (uint8_t)coil_bit(needle & 7)) != 0;
}

static uint16_t inverted(const struct board *board)
{
    if (!board->bed.active_low)
        return 0;
    return (uint16_t)(UINT16_MAX >> (SELECTORS_MAX - board->bed.count));
}

/* The coils for needles with q - hold < point <= reach; at most one needle for each coil. */
static uint16_t window(struct board *board, int16_t q, int16_t reach)
{
    struct under_way *pass = &board->pass;
    const struct bed *bed = &board->bed;
    const uint8_t *mask = slot_of(board, board->plan.done + 1)->held.mask;
    uint16_t coils = 0;
    uint8_t index;
    mark_move(board, &pass->behind, (int16_t)(q - bed->hold));
    mark_move(board, &pass->ahead, reach);
    index = pass->behind.index;
    if (index < pass->ahead.index) {
        uint8_t needle = needle_at(board, index);
        uint8_t selector = selector_of(board, needle);
        for (;;) {
            if (mask_bit(mask, needle))
                coils |= coil_bit(selector);
            if (++index == pass->ahead.index)
                break;
            /* the next needle's selector without another division */
            if (pass->rightward) {
                needle++;
                if (bed->bank && ++selector == bed->count)
                    selector = 0;
            } else {
                needle--;
                if (bed->bank)
                    selector = selector == 0 ? (uint8_t)(bed->count - 1) : (uint8_t)(selector - 1);
            }
        }
    }
    return (uint16_t)(coils ^ inverted(board));
}

void selectors_begin(struct board *board)
{
    struct under_way *pass = &board->pass;
    struct mark first;
    first.index = 0;
    first.point = point_of_first(board);
    pass->behind = first;
    pass->ahead = first;
    pass->next = first;
    pass->reach = pass->start_line;
    pass->revived = 0;
    pass->woken = 0;
    pass->prepared = INT16_MIN;
}

static int16_t reach_forward(const struct board *board, int16_t q)
{
    int16_t reach = (int16_t)(q + board->pass.advance);
    return reach > board->pass.reach ? reach : board->pass.reach;
}

/* Notes when each coil came to its state. The time on of those that go off is set to zero here, not that of
 * those that go on, because a beat may have counted for them since the interrupt switched them. */
static void note_changes(struct board *board, uint16_t before, uint16_t coils, uint32_t tick)
{
    uint16_t changed = (uint16_t)(before ^ coils);
    uint8_t coil;
    for (coil = 0; changed != 0; coil++, changed >>= 1, before >>= 1) {
        if ((changed & 1) == 0)
            continue;
        board->pass.changed_at[coil] = tick;
        if ((before & 1) != 0) {
            board->ports->hold();
            board->coils.on_ms[coil] = 0;
            board->ports->release();
        }
    }
}

/* Puts `coils` out unless the edge interrupt has; true if it had not. */
static bool put_out(struct board *board, uint16_t coils, uint32_t tick)
{
    struct coils *shared = &board->coils;
    uint16_t before;
    bool late;
    board->ports->hold();
    shared->expect = NO_PINS;
    late = shared->latched != coils;
    before = shared->wanted;
    shared->latched = coils;
    shared->wanted = coils;
    if (late)
        board->ports->put_register(board->ports->world, coils);
    board->ports->release();
    note_changes(board, before, coils, tick);
    return late;
}

void selectors_edge(struct board *board, int16_t q, bool forward, uint32_t tick)
{
    struct under_way *pass = &board->pass;
    uint16_t coils;
    if (forward) {
        pass->reach = reach_forward(board, q);
    } else if (pass->reach > (int16_t)(q + board->bed.advance_max)) {
        pass->reach = (int16_t)(q + board->bed.advance_max);
    }
    mark_move(board, &pass->next, (int16_t)(q - 1));
    /* the window was worked out at the edge before, if that is where this one was expected */
    coils = forward && pass->prepared == q ? board->coils.coming : window(board, q, pass->reach);
    pass->woken &= coils;
    pass->revived = (uint16_t)((pass->revived & coils) | pass->woken);
    if (put_out(board, coils, tick) && board->ports->ticks(board->ports->world) - tick > LATE_TICKS)
        fault_raise(board, FAULT_EDGES_TOO_FAST, NO_NEEDLE, 1);
}

/* What the edge interrupt will put out by itself if the next edge goes forward. */
void selectors_prepare(struct board *board, int16_t q)
{
    struct under_way *pass = &board->pass;
    struct coils *shared = &board->coils;
    int16_t next = (int16_t)(q + 1);
    uint16_t coming = 0;
    if (next < pass->finish_line)
        coming = window(board, next, reach_forward(board, next));
    pass->prepared = next;
    board->ports->hold();
    shared->coming = coming;
    shared->expect =
        coming == shared->latched ? NO_PINS : pins_after(board->position.pins, pass->rightward);
    board->ports->release();
}

/* How long a coil must have been in its state for its selector to have acted. */
static uint16_t acting_ticks(const struct board *board)
{
    return (uint16_t)(board->bed.advance - board->bed.advance / 4);
}

/* The needle that the selector stands at, if any, gets what was last put out. */
void selectors_drive(struct board *board, int16_t q, uint32_t tick)
{
    struct under_way *pass = &board->pass;
    const uint8_t *mask = slot_of(board, board->plan.done + 1)->held.mask;
    uint8_t needle;
    uint8_t selector;
    uint8_t bit;
    uint16_t latched;
    bool selected;
    if (pass->next.index == needles_used(board) || pass->next.point != q)
        return;
    needle = needle_at(board, pass->next.index);
    selector = selector_of(board, needle);
    board->ports->hold();
    latched = board->coils.latched;
    board->ports->release();
    selected = ((latched ^ inverted(board)) & coil_bit(selector)) != 0;
    bit = (uint8_t)coil_bit(needle & 7);
    if (selected)
        pass->driven[needle >> 3] |= bit;
    else
        pass->driven[needle >> 3] &= (uint8_t)~bit;
    if (selected != mask_bit(mask, needle))
        fault_raise(board, FAULT_NEEDLE_NOT_AS_PLANNED, needle, selector);
    else if ((selected || board->bed.active_low) && tick - pass->changed_at[selector] < acting_ticks(board))
        fault_raise(board, (pass->revived & coil_bit(selector)) != 0 ? FAULT_COIL_RESTED : FAULT_SELECTOR_LATE,
                    needle, selector);
}

uint8_t pass_needle(const struct board *board)
{
    const struct under_way *pass = &board->pass;
    struct mark mark;
    int16_t q = pass->rightward ? board->position.count : (int16_t)-board->position.count;
    if (pass->state != PASS_UNDER_WAY)
        return NO_NEEDLE;
    mark = pass->next;
    mark_move(board, &mark, (int16_t)(q - 1));
    if (mark.index == needles_used(board))
        mark.index--;
    return needle_at(board, mark.index);
}

void output_now(struct board *board, uint16_t coils)
{
    put_out(board, coils, board->ports->ticks(board->ports->world));
}

void coils_off(struct board *board)
{
    output_now(board, 0);
    board->coils.rested = 0;
}

/* Rests end at an edge. Which of the coils come on again shows once section 7 has been followed. */
void coils_end_rest(struct board *board)
{
    struct coils *shared = &board->coils;
    board->ports->hold();
    board->pass.woken = shared->rested;
    shared->rested = 0;
    shared->wanted &= (uint16_t)~board->pass.woken;
    board->ports->release();
}
