/* What the board is told of the bed, of the plan and of its passes. */
#include "bytes.h"
#include "crc.h"
#include "rooms.h"

#include <string.h>

#define BED_FIELDS 29

static void bed_read(struct bed *bed, const uint8_t *fields)
{
    bed->needles = get_u16(fields);
    bed->edges_per_needle = fields[2];
    bed->left_sensor = get_i16(fields + 3);
    bed->right_sensor = get_i16(fields + 5);
    bed->tolerance = fields[7];
    bed->backing = get_u16(fields + 8);
    bed->bank = fields[10] == 1;
    bed->count = fields[11];
    bed->lead_leftward = get_i16(fields + 12);
    bed->lead_rightward = get_i16(fields + 14);
    bed->advance = get_u16(fields + 16);
    bed->advance_max = fields[18];
    bed->hold = fields[19];
    bed->limit_ms = get_u16(fields + 20);
    bed->active_low = fields[22] == 1;
    bed->patience_ms = get_u16(fields + 23);
    bed->supply_min = get_u16(fields + 25);
    bed->current_max = get_u16(fields + 27);
}

static bool lead_fits(int16_t lead)
{
    return lead >= -LEAD_MAX && lead <= LEAD_MAX;
}

static bool places_fit(const struct bed *bed)
{
    return bed->needles >= 2 && bed->needles <= NEEDLES_MAX && bed->edges_per_needle >= 1 &&
           bed->edges_per_needle <= EDGES_PER_NEEDLE_MAX && bed->left_sensor < 0 &&
           bed->left_sensor >= LEFT_SENSOR_MIN && bed->right_sensor <= RIGHT_SENSOR_MAX &&
           bed->right_sensor > (int16_t)((bed->needles - 1) * bed->edges_per_needle) &&
           lead_fits(bed->lead_leftward) && lead_fits(bed->lead_rightward);
}

static bool selectors_fit(const struct bed *bed)
{
    uint8_t share = bed->bank ? bed->count : 1;
    return bed->count >= 1 && bed->count <= (bed->bank ? SELECTORS_MAX : 2) && bed->advance >= 1 &&
           bed->advance_max >= 1 && bed->hold >= 1 &&
           bed->advance_max + bed->hold <= share * bed->edges_per_needle && bed->limit_ms >= LIMIT_MS_MIN &&
           bed->limit_ms <= LIMIT_MS_MAX;
}

/* False when a limit is broken; nothing has then changed. */
bool bed_take(struct board *board, const uint8_t *fields)
{
    struct bed bed;
    uint16_t check = CRC_START;
    uint8_t at;
    memset(&bed, 0, sizeof bed); /* padding too, for memcmp */
    bed_read(&bed, fields);
    if (fields[10] > 1 || fields[22] > 1 || !places_fit(&bed) || !selectors_fit(&bed))
        return false;
    for (at = 0; at < BED_FIELDS; at++)
        check = crc_step(check, fields[at]);
    if (board->bed_set && memcmp(&board->bed, &bed, sizeof bed) == 0)
        return true;
    plan_end(board);
    position_lose(board);
    board->bed = bed;
    board->bed_set = true;
    board->bed_check = check;
    board->ports->hold();
    board->coils.limit_ms = bed.limit_ms;
    board->ports->release();
    return true;
}

static void plan_clear(struct board *board)
{
    probe_end(board);
    pass_abandon(board);
    memset(&board->plan, 0, sizeof board->plan);
    board->link.due &= (uint16_t)~DUE_DONE;
}

bool plan_start(struct board *board, const uint8_t *fields)
{
    struct plan *plan = &board->plan;
    uint32_t fingerprint = get_u32(fields);
    uint32_t first = get_u32(fields + 4);
    uint32_t last = get_u32(fields + 8);
    int16_t left_line = get_i16(fields + 12);
    int16_t right_line = get_i16(fields + 14);
    uint8_t first_needle = fields[16];
    uint8_t last_needle = fields[17];
    if (!board->bed_set || fingerprint == 0 || first == 0 || first - 1 > last ||
        left_line <= board->bed.left_sensor || right_line <= left_line || right_line >= board->bed.right_sensor ||
        first_needle > last_needle || last_needle >= board->bed.needles)
        return false;
    plan_clear(board);
    plan->fingerprint = fingerprint;
    plan->first = first;
    plan->last = last;
    plan->received = first - 1;
    plan->done = first - 1;
    plan->seen = first - 1;
    plan->left_line = left_line;
    plan->right_line = right_line;
    plan->first_needle = first_needle;
    plan->last_needle = last_needle;
    stretch_begin(&board->position);
    return true;
}

void plan_end(struct board *board)
{
    plan_clear(board);
    position_forget_edge(&board->position);
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

void plan_take_pass(struct board *board, const uint8_t *fields)
{
    struct plan *plan = &board->plan;
    uint32_t number = get_u32(fields + 4);
    uint8_t direction = fields[8];
    struct slot *slot = slot_of(board, number);
    if (plan->fingerprint == 0 || get_u32(fields) != plan->fingerprint || plan->received == plan->last ||
        number != plan->received + 1 || number - plan->seen > SLOTS || direction > 1 ||
        !mask_fits(plan, fields + 9)) {
        count_up(&board->counts.stale);
        return;
    }
    slot->rightward = direction == 1;
    memcpy(slot->held.mask, fields + 9, MASK_BYTES);
    plan->received = number;
}

void plan_take_seen(struct board *board, const uint8_t *fields)
{
    struct plan *plan = &board->plan;
    uint32_t number = get_u32(fields + 4);
    if (plan->fingerprint == 0 || get_u32(fields) != plan->fingerprint || number < plan->seen ||
        number > plan->done)
        return;
    plan->seen = number;
    if (number == plan->done)
        board->link.due &= (uint16_t)~DUE_DONE;
}
