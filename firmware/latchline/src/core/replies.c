/* What the board says: one payload for each kind that is due, with the values of the moment. */
#include "bytes.h"
#include "rooms.h"

enum reply {
    REPLY_BOARD = 0x81,
    REPLY_BED_TAKEN,
    REPLY_STATUS,
    REPLY_DONE,
    REPLY_FAULT,
    REPLY_COUNTS,
    REPLY_CHECKPOINT,
    REPLY_PROBED,
    REPLY_REFUSED
};

enum flag {
    FLAG_BED_SET = 1 << 0,
    FLAG_CERTAIN = 1 << 1,
    FLAG_PLANNED = 1 << 2,
    FLAG_PAUSED = 1 << 3,
    FLAG_UNDER_WAY = 1 << 4,
    FLAG_LAMP = 1 << 5,
    FLAG_AT_REST = 1 << 6,
    FLAG_ENABLED = 1 << 7,
    FLAG_WRITING = 1 << 8,
    FLAG_NOT_LOADED = 1 << 9,
    FLAG_SUPPLY_LOW = 1 << 10
};

static uint16_t rests(const struct board *board)
{
    uint16_t count;
    board->ports->hold();
    count = board->coils.rests;
    board->ports->release();
    return count;
}

static uint16_t flags(const struct board *board)
{
    const struct plan *plan = &board->plan;
    const struct beats *beats = &board->beats;
    uint16_t flags = 0;
    if (board->bed_set)
        flags |= FLAG_BED_SET;
    if (board->position.certain)
        flags |= FLAG_CERTAIN;
    if (plan->fingerprint != 0)
        flags |= FLAG_PLANNED;
    if (plan->paused)
        flags |= FLAG_PAUSED;
    if (board->pass.state == PASS_UNDER_WAY)
        flags |= FLAG_UNDER_WAY;
    if (beats->lamp)
        flags |= FLAG_LAMP;
    if (board->coils.rested != 0)
        flags |= FLAG_AT_REST;
    if (beats->enabled)
        flags |= FLAG_ENABLED;
    if (checkpoint_writing(board))
        flags |= FLAG_WRITING;
    if (plan->fingerprint != 0 && plan->done != plan->last && !pass_loaded(board))
        flags |= FLAG_NOT_LOADED;
    if (beats->enabled && board->bed.supply_min != 0 && beats->supply < board->bed.supply_min)
        flags |= FLAG_SUPPLY_LOW;
    return flags;
}

static uint32_t credit(const struct plan *plan)
{
    if (plan->fingerprint == 0)
        return 0;
    return plan->seen > UINT32_MAX - SLOTS ? UINT32_MAX : plan->seen + SLOTS;
}

void replies_told(const struct board *board, struct told *told)
{
    const struct plan *plan = &board->plan;
    told->fingerprint = plan->fingerprint;
    told->received = plan->received;
    told->armed = board->pass.state == PASS_NONE ? 0 : plan->done + 1;
    told->done = plan->done;
    told->credit = credit(plan);
    told->flags = flags(board);
    told->rests = rests(board);
    told->fault = board->fault.number;
}

static uint8_t *put_status(struct board *board, uint8_t *at)
{
    struct told *told = &board->link.told;
    replies_told(board, told);
    board->link.status_age_ms = 0;
    at = put_u8(at, REPLY_STATUS);
    at = put_u16(at, board->boots);
    at = put_u32(at, told->fingerprint);
    at = put_u32(at, told->received);
    at = put_u32(at, told->armed);
    at = put_u32(at, told->done);
    at = put_u32(at, told->credit);
    at = put_u16(at, (uint16_t)board->position.count);
    at = put_u8(at, board->ports->pins(board->ports->world));
    at = put_u16(at, told->flags);
    at = put_u8(at, told->fault);
    at = put_u8(at, (uint8_t)board->counts.bad_frames);
    return put_u16(at, told->rests);
}

static uint8_t *put_done(struct board *board, uint8_t *at)
{
    const struct plan *plan = &board->plan;
    uint32_t number = board->link.oldest_done ? plan->seen + 1 : plan->done;
    const struct slot *slot = slot_of(board, number);
    const struct report *report = &slot->held.report;
    uint8_t tenth;
    board->link.done_age_ms = 0;
    at = put_u8(at, REPLY_DONE);
    at = put_u32(at, plan->fingerprint);
    at = put_u32(at, number);
    at = put_u8(at, slot->rightward);
    at = put_u16(at, report->digest);
    at = put_u32(at, report->start);
    for (tenth = 0; tenth < 10; tenth++)
        at = put_u16(at, report->tenths[tenth]);
    at = put_u8(at, report->backings);
    at = put_u8(at, report->backed);
    at = put_u8(at, report->stops);
    at = put_u8(at, report->advance);
    at = put_u16(at, report->shortest);
    at = put_u16(at, (uint16_t)report->furthest);
    return put_u8(at, (uint8_t)report->correction);
}

static uint8_t *put_board(struct board *board, uint8_t *at)
{
    at = put_u8(at, REPLY_BOARD);
    at = put_u8(at, PROTOCOL_VERSION);
    at = put_u32(at, board->link.nonce);
    at = put_u8(at, FIRMWARE_MAJOR);
    at = put_u8(at, FIRMWARE_MINOR);
    at = put_u8(at, FIRMWARE_PATCH);
    at = put_u32(at, board->number);
    at = put_u16(at, board->boots);
    at = put_u8(at, board->reset_cause);
    at = put_u8(at, SLOTS);
    at = put_u16(at, NEEDLES_MAX);
    return put_u16(at, board->bed_set ? board->bed_check : 0);
}

static uint8_t *put_fault(struct board *board, uint8_t *at)
{
    struct fault *fault = &board->fault;
    bool stands = fault->number != 0;
    fault->age_ms = 0;
    at = put_u8(at, REPLY_FAULT);
    at = put_u8(at, fault->number);
    at = put_u32(at, stands ? fault->fingerprint : board->plan.fingerprint);
    at = put_u32(at, stands ? fault->pass : pass_number(board));
    at = put_u8(at, stands ? fault->needle : NO_NEEDLE);
    at = put_u16(at, (uint16_t)(stands ? fault->position : board->position.count));
    return put_u16(at, stands ? fault->detail : 0);
}

static uint8_t *put_counts(const struct board *board, uint8_t *at)
{
    const struct counts *counts = &board->counts;
    at = put_u8(at, REPLY_COUNTS);
    at = put_u32(at, counts->edges);
    at = put_u16(at, counts->impossible);
    at = put_u16(at, counts->left_on);
    at = put_u16(at, counts->right_on);
    at = put_u16(at, counts->reversals);
    at = put_u16(at, counts->bad_frames);
    at = put_u16(at, counts->overruns);
    at = put_u16(at, counts->stale);
    at = put_u16(at, counts->shortest);
    at = put_u16(at, board->ports->supply(board->ports->world));
    return put_u16(at, board->ports->current(board->ports->world));
}

static uint8_t *put_checkpoint(const struct board *board, uint8_t *at)
{
    const struct checkpoint *checkpoint = &board->checkpoint;
    at = put_u8(at, REPLY_CHECKPOINT);
    at = put_u8(at, checkpoint->valid);
    at = put_u32(at, checkpoint->valid ? checkpoint->fingerprint : 0);
    at = put_u32(at, checkpoint->valid ? checkpoint->done : 0);
    return put_u16(at, checkpoint->valid ? checkpoint->sequence : 0);
}

static uint8_t *put_probed(const struct board *board, uint8_t *at)
{
    const struct probe *probe = &board->probe;
    at = put_u8(at, REPLY_PROBED);
    at = put_u8(at, probe->selector);
    at = put_u16(at, probe->supply_idle);
    at = put_u16(at, probe->supply_on);
    at = put_u16(at, probe->current_idle);
    return put_u16(at, probe->current_on);
}

static uint8_t *put_kind(struct board *board, uint16_t kind, uint8_t *at)
{
    switch (kind) {
    case DUE_BOARD:
        return put_board(board, at);
    case DUE_BED_TAKEN:
        at = put_u8(at, REPLY_BED_TAKEN);
        return put_u16(at, board->bed_check);
    case DUE_REFUSED:
        at = put_u8(at, REPLY_REFUSED);
        at = put_u8(at, board->link.refused_type);
        return put_u8(at, board->link.refused_reason);
    case DUE_FAULT:
        return put_fault(board, at);
    case DUE_DONE:
        return put_done(board, at);
    case DUE_PROBED:
        return put_probed(board, at);
    case DUE_CHECKPOINT:
        return put_checkpoint(board, at);
    case DUE_COUNTS:
        return put_counts(board, at);
    default:
        return put_status(board, at);
    }
}

/* The first kind that is due; its length, or 0 when none is. */
uint8_t replies_compose(struct board *board, uint8_t *payload)
{
    uint16_t due = board->link.due;
    uint16_t kind = (uint16_t)(due & (uint16_t)-due);
    if (kind == 0)
        return 0;
    board->link.due = (uint16_t)(due & (uint16_t)~kind);
    run_take(board);
    return (uint8_t)(put_kind(board, kind, payload) - payload);
}
