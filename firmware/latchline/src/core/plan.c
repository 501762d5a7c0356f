#include "plan.h"

#include <stddef.h>
#include <string.h>

#include "bytes.h"

void plan_clear(struct plan *plan)
{
    memset(plan, 0, offsetof(struct plan, slots));
}

bool plan_fits(const struct bed *bed, const uint8_t *fields)
{
    uint32_t first = get_u32(fields + 4);
    int16_t left_line = get_i16(fields + 12);
    int16_t right_line = get_i16(fields + 14);
    return bed_is_set(bed) && get_u32(fields) != 0 && first != 0 && first - 1 <= get_u32(fields + 8) &&
           left_line > bed->left_sensor && right_line > left_line && right_line < bed->right_sensor &&
           fields[16] <= fields[17] && fields[17] < bed->needles;
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
    plan->left_line = get_i16(fields + 12);
    plan->right_line = get_i16(fields + 14);
    plan->first_needle = fields[16];
    plan->last_needle = fields[17];
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

bool plan_take_pass(struct plan *plan, const uint8_t *fields)
{
    uint32_t number = get_u32(fields + 4);
    uint8_t direction = fields[8];
    struct slot *slot = plan_slot(plan, number);
    if (!plan_in_force(plan) || get_u32(fields) != plan->fingerprint || plan->received == plan->last ||
        number != plan->received + 1 || number - plan->seen > SLOTS || direction > 1 || !mask_fits(plan, fields + 9))
        return false;
    slot->rightward = direction == 1;
    memcpy(slot->held.mask, fields + 9, MASK_BYTES);
    plan->received = number;
    return true;
}

bool plan_take_seen(struct plan *plan, const uint8_t *fields)
{
    uint32_t number = get_u32(fields + 4);
    if (!plan_in_force(plan) || get_u32(fields) != plan->fingerprint || number < plan->seen || number > plan->done)
        return false;
    plan->seen = number;
    return number == plan->done;
}
