#include "select.h"

#include "assure.h"

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

static bool needs_current(const struct select *select, uint8_t needle)
{
    return mask_bit(select->mask, needle) != select->active_low;
}

static void step_on(const struct select *select, struct mark *mark)
{
    mark->index++;
    mark->point = (int16_t)(mark->point + select->apart);
    mark->needle = (uint8_t)(select->rightward ? mark->needle + 1 : mark->needle - 1);
    if (!select->bank)
        return;
    if (select->rightward)
        mark->selector = mark->selector == select->count - 1 ? 0 : (uint8_t)(mark->selector + 1);
    else
        mark->selector = mark->selector == 0 ? (uint8_t)(select->count - 1) : (uint8_t)(mark->selector - 1);
}

static void step_back(const struct select *select, struct mark *mark)
{
    mark->index--;
    mark->point = (int16_t)(mark->point - select->apart);
    mark->needle = (uint8_t)(select->rightward ? mark->needle - 1 : mark->needle + 1);
    if (!select->bank)
        return;
    if (select->rightward)
        mark->selector = mark->selector == 0 ? (uint8_t)(select->count - 1) : (uint8_t)(mark->selector - 1);
    else
        mark->selector = mark->selector == select->count - 1 ? 0 : (uint8_t)(mark->selector + 1);
}

static bool lies_behind(const struct select *select, const struct mark *mark, int16_t limit)
{
    return mark->point <= limit && mark->index < select->used;
}

static bool lies_ahead(const struct select *select, const struct mark *mark, int16_t limit)
{
    return mark->index > 0 && (int16_t)(mark->point - select->apart) > limit;
}

/* To the first needle whose point is past `limit`. From edge to edge that is at most a few steps. */
static void mark_move(const struct select *select, struct mark *mark, int16_t limit)
{
    while (lies_behind(select, mark, limit))
        step_on(select, mark);
    while (lies_ahead(select, mark, limit))
        step_back(select, mark);
}

static void choose(struct select *select, const struct mark *mark)
{
    if (needs_current(select, mark->needle))
        select->chosen |= coil_bit(mark->selector);
}

static void drop(struct select *select, const struct mark *mark)
{
    select->chosen &= (uint16_t)~coil_bit(mark->selector);
}

/* The coils for needles with q - hold < point <= q + advance_max; at most one needle for each coil, so whichever leave the
 * window are dropped before others are chosen. */
static uint16_t window(struct select *select, int16_t q)
{
    struct mark *behind = &select->behind;
    struct mark *ahead = &select->ahead;
    int16_t passed = (int16_t)(q - select->hold);
    int16_t reach = (int16_t)(q + select->advance_max);
    if (q > select->at) {
        while (lies_behind(select, behind, passed)) {
            if (behind->index < ahead->index)
                drop(select, behind);
            step_on(select, behind);
        }
        while (lies_behind(select, ahead, reach)) {
            if (ahead->index >= behind->index)
                choose(select, ahead);
            step_on(select, ahead);
        }
    } else {
        while (lies_ahead(select, ahead, reach)) {
            step_back(select, ahead);
            if (ahead->index >= behind->index)
                drop(select, ahead);
        }
        while (lies_ahead(select, behind, passed)) {
            step_back(select, behind);
            if (behind->index < ahead->index)
                choose(select, behind);
        }
    }
    ASSURE(ahead->index - behind->index <= (select->bank ? select->count : 1));
    select->at = q;
    return select->chosen;
}

static struct mark first_mark(const struct select *select, const struct bed *bed, const struct plan *plan)
{
    struct mark mark;
    mark.index = 0;
    mark.needle = select->rightward ? plan->first_needle : plan->last_needle;
    mark.point = (int16_t)(mark.needle * bed->edges_per_needle);
    mark.point = select->rightward ? (int16_t)(mark.point - bed->lead_rightward)
                                   : (int16_t)(-mark.point - bed->lead_leftward);
    mark.selector = bed->count == 2 && !select->rightward;
    if (bed->bank)
        mark.selector = (uint8_t)(mark.needle % bed->count);
    return mark;
}

void select_begin(struct select *select, const struct bed *bed, const struct plan *plan, const struct slot *slot)
{
    select->mask = slot->held.coming.mask;
    select->rightward = slot->rightward;
    select->bank = bed->bank;
    select->count = bed->count;
    select->apart = bed->edges_per_needle;
    select->used = (uint8_t)(plan->last_needle - plan->first_needle + 1);
    select->hold = bed->hold;
    select->advance_max = bed->advance_max;
    select->active_low = bed->active_low;
    select->acting = (uint16_t)(bed->advance - bed->advance / 4);
    select->behind = first_mark(select, bed, plan);
    select->ahead = select->behind;
    select->next = select->behind;
    select->at = INT16_MIN;
    select->chosen = 0;
    select->revived = 0;
    select->met = 0;
}

uint16_t select_edge(struct select *select, int16_t q)
{
    mark_move(select, &select->next, (int16_t)(q - 1));
    /* worked out at the edge before, if that is where this one was expected */
    return select->at == q ? select->chosen : window(select, q);
}

void select_revive(struct select *select, uint16_t over, uint16_t coils)
{
    select->revived = (uint16_t)((select->revived | over) & coils);
}

uint16_t select_coming(struct select *select, int16_t q, int16_t finish_line)
{
    if (q >= finish_line)
        return 0;
    return window(select, q);
}

struct verdict select_drive(struct select *select, int16_t q, const struct standing *standing, uint8_t *driven)
{
    const struct mark *next = &select->next;
    struct verdict verdict = all_well();
    uint16_t coil = coil_bit(next->selector);
    bool on;
    uint8_t bit;
    if (next->index == select->used || next->point != q)
        return verdict;
    ASSURE(next->selector < SELECTORS_MAX);
    if (next->index >= select->met)
        select->met = (uint8_t)(next->index + 1);
    on = (standing->latched & coil) != 0;
    bit = (uint8_t)coil_bit(next->needle & 7);
    driven += next->needle >> 3;
    *driven = (uint8_t)(on != select->active_low ? *driven | bit : *driven & (uint8_t)~bit);
    if (on != needs_current(select, next->needle))
        verdict.fault = !on && (standing->resting & coil) != 0 ? FAULT_COIL_RESTED : FAULT_NEEDLE_NOT_AS_PLANNED;
    else if (on && (int32_t)(standing->tick - standing->changed_at[next->selector]) < (int32_t)select->acting)
        verdict.fault = (select->revived & coil) != 0 ? FAULT_COIL_RESTED : FAULT_SELECTOR_LATE;
    verdict.needle = next->needle;
    verdict.detail = next->selector;
    return verdict;
}

uint8_t select_furthest(const struct select *select)
{
    const struct mark *next = &select->next;
    int16_t back = (int16_t)(next->index - (select->met - 1)); /* in needles, negative when it lies ahead */
    return (uint8_t)(select->rightward ? next->needle - back : next->needle + back);
}

uint8_t select_needle(const struct select *select, int16_t q)
{
    struct mark mark = select->next;
    mark_move(select, &mark, (int16_t)(q - 1));
    if (mark.index == select->used)
        step_back(select, &mark);
    return mark.needle;
}
