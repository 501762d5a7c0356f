#include "plan.h"

#include <stddef.h>
#include <string.h>

#include "bytes.h"

void plan_clear(struct plan *plan)
{
    memset(plan, 0, offsetof(struct plan, slots));
}

static bool lines_fit(const struct bed *bed, struct lines lines)
{
    return lines.left > bed->left_sensor && lines.right > lines.left && lines.right < bed->right_sensor;
}

static struct lines lines_read(const uint8_t *fields)
{
    struct lines lines;
    lines.left = get_i16(fields);
    lines.right = get_i16(fields + 2);
    return lines;
}

bool plan_fits(const struct bed *bed, const uint8_t *fields)
{
    uint32_t first = get_u32(fields + 4);
    return bed_is_set(bed) && get_u32(fields) != 0 && first != 0 && first - 1 <= get_u32(fields + 8) &&
           lines_fit(bed, lines_read(fields + 12)) && fields[16] <= fields[17] && fields[17] < bed->needles;
}

void plan_begin(struct plan *plan, const uint8_t *fields)
{
    uint32_t first = get_u32(fields + 4);
    plan_clear(plan);
    plan->fingerprint = get_u32(fields);
    plan->first = first;
    plan->last = get_u32(fields + 8);
    plan->received = first - 1;
    plan->done = first - 1;
    plan->seen = first - 1;
    plan->lines = lines_read(fields + 12);
    plan->first_needle = fields[16];
    plan->last_needle = fields[17];
    plan->run = get_u32(fields + 18);
}

/* No needle outside the plan's. */
static bool mask_fits(const struct plan *plan, const uint8_t *mask)
{
    uint8_t first_byte = plan->first_needle >> 3;
    uint8_t last_byte = plan->last_needle >> 3;
    uint8_t at;
    for (at = 0; at < MASK_BYTES; at++) {
        uint8_t allowed = at < first_byte || at > last_byte ? 0 : 0xFF;
        if (at == first_byte)
            allowed = (uint8_t)(allowed & 0xFF << (plan->first_needle & 7));
        if (at == last_byte)
            allowed = (uint8_t)(allowed & 0xFF >> (7 - (plan->last_needle & 7)));
        if ((mask[at] & (uint8_t)~allowed) != 0)
            return false;
    }
    return true;
}

bool plan_take_pass(struct plan *plan, const struct bed *bed, const uint8_t *fields)
{
    uint32_t number = get_u32(fields + 4);
    uint8_t direction = fields[8];
    struct slot *slot = plan_slot(plan, number);
    struct lines lines = lines_read(fields + 9 + MASK_BYTES);
    if (lines.left == PLANS_LINE)
        lines.left = plan->lines.left;
    if (lines.right == PLANS_LINE)
        lines.right = plan->lines.right;
    if (!plan_in_force(plan) || get_u32(fields) != plan->fingerprint || plan->received == plan->last ||
        number != plan->received + 1 || number - plan->seen > SLOTS || direction > 1 ||
        !mask_fits(plan, fields + 9) || !lines_fit(bed, lines))
        return false;
    slot->rightward = direction == 1;
    memcpy(slot->held.coming.mask, fields + 9, MASK_BYTES);
    slot->held.coming.lines = lines;
    plan->received = number;
    return true;
}

bool plan_take_seen(struct plan *plan, const uint8_t *fields)
{
    uint32_t number = get_u32(fields + 4);
    if (!plan_in_force(plan) || get_u32(fields) != plan->fingerprint || number < plan->seen || number > plan->done)
        return false;
    plan->seen = number;
    return true;
}
