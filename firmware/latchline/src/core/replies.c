#include "replies.h"

#include "assure.h"
#include "bytes.h"

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

#define FEATURE_PASS_LINES 1

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

static uint16_t flags(const struct board *board)
{
    const struct plan *plan = &board->plan;
    const struct drive *drive = &board->drive;
    uint16_t flags = 0;
    if (bed_is_set(&board->bed))
        flags |= FLAG_BED_SET;
    if (board->track.certain)
        flags |= FLAG_CERTAIN;
    if (plan_in_force(plan))
        flags |= FLAG_PLANNED;
    if (plan->paused)
        flags |= FLAG_PAUSED;
    if (board->pass.state == PASS_UNDER_WAY)
        flags |= FLAG_UNDER_WAY;
    if (drive->lamp)
        flags |= FLAG_LAMP;
    if (drive->resting != 0)
        flags |= FLAG_AT_REST;
    if (drive->enabled)
        flags |= FLAG_ENABLED;
    if (store_writing(&board->store))
        flags |= FLAG_WRITING;
    if (plan_goes_on(plan) && !plan_coming_loaded(plan))
        flags |= FLAG_NOT_LOADED;
    if (drive->enabled && board->bed.supply_min != 0 && board->watch.supply < board->bed.supply_min)
        flags |= FLAG_SUPPLY_LOW;
    return flags;
}

static uint32_t credit(const struct plan *plan)
{
    if (!plan_in_force(plan))
        return 0;
    return plan->seen > UINT32_MAX - SLOTS ? UINT32_MAX : plan->seen + SLOTS;
}

static uint32_t armed(const struct board *board)
{
    return board->pass.state == PASS_NONE ? 0 : board->plan.done + 1;
}

void replies_told(const struct board *board, struct told *told)
{
    const struct plan *plan = &board->plan;
    told->fingerprint = plan->fingerprint;
    told->received = plan->received;
    told->armed = armed(board);
    told->done = plan->done;
    told->credit = credit(plan);
    told->flags = flags(board);
    told->rests = drive_rests(&board->drive);
    told->run = plan->run;
    told->fault = board->fault.number;
}

/* Field by field, because this is asked every millisecond. */
bool replies_anything_new(const struct replies *replies, const struct board *board)
{
    const struct told *told = &replies->told;
    const struct plan *plan = &board->plan;
    return told->fault != board->fault.number || told->fingerprint != plan->fingerprint ||
           told->received != plan->received || told->done != plan->done || told->credit != credit(plan) ||
           told->run != plan->run || told->armed != armed(board) || told->rests != drive_rests(&board->drive) || told->flags != flags(board);
}

static uint8_t *put_status(struct replies *replies, const struct board *board, uint8_t *at)
{
    struct told *told = &replies->told;
    replies_told(board, told);
    at = put_u8(at, REPLY_STATUS);
    at = put_u16(at, board->store.boots);
    at = put_u32(at, told->fingerprint);
    at = put_u32(at, told->received);
    at = put_u32(at, told->armed);
    at = put_u32(at, told->done);
    at = put_u32(at, told->credit);
    at = put_u16(at, (uint16_t)board->track.count);
    at = put_u8(at, track_pins(&board->track, port_pins(board->world)));
    at = put_u16(at, told->flags);
    at = put_u8(at, told->fault);
    at = put_u8(at, (uint8_t)replies->bad_frames);
    at = put_u16(at, told->rests);
    return put_u32(at, told->run);
}

static uint8_t *put_done(const struct board *board, uint8_t *at)
{
    const struct plan *plan = &board->plan;
    uint32_t number = board->due_done;
    const struct slot *slot = plan_slot_seen(plan, number);
    const struct report *report = &slot->held.report;
    uint8_t tenth;
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

static uint8_t *put_board(const struct replies *replies, const struct board *board, uint8_t *at)
{
    at = put_u8(at, REPLY_BOARD);
    at = put_u8(at, PROTOCOL_VERSION);
    at = put_u32(at, replies->nonce);
    at = put_u8(at, FIRMWARE_MAJOR);
    at = put_u8(at, FIRMWARE_MINOR);
    at = put_u8(at, FIRMWARE_PATCH);
    at = put_u32(at, board->store.board);
    at = put_u16(at, board->store.boots);
    at = put_u8(at, board->reset_cause);
    at = put_u8(at, SLOTS);
    at = put_u16(at, NEEDLES_MAX);
    at = put_u16(at, board->bed_check);
    at = put_u16(at, FEATURE_PASS_LINES);
    return put_u32(at, board->plan.run);
}

static uint8_t *put_fault(const struct board *board, uint8_t *at)
{
    const struct fault *fault = &board->fault;
    bool stands = fault->number != 0;
    at = put_u8(at, REPLY_FAULT);
    at = put_u8(at, fault->number);
    at = put_u32(at, stands ? fault->fingerprint : board->plan.fingerprint);
    at = put_u32(at, stands ? fault->pass : plan_coming(&board->plan));
    at = put_u8(at, stands ? fault->needle : NO_NEEDLE);
    at = put_u16(at, (uint16_t)(stands ? fault->position : board->track.count));
    return put_u16(at, stands ? fault->detail : 0);
}

static uint8_t *put_counts(const struct replies *replies, const struct board *board, uint8_t *at)
{
    const struct track *track = &board->track;
    at = put_u8(at, REPLY_COUNTS);
    at = put_u32(at, track->edges);
    at = put_u16(at, track->impossible);
    at = put_u16(at, track->left_on);
    at = put_u16(at, track->right_on);
    at = put_u16(at, track->reversals);
    at = put_u16(at, replies->bad_frames);
    at = put_u16(at, replies->overruns);
    at = put_u16(at, replies->stale);
    at = put_u16(at, track->shortest);
    at = put_u16(at, port_supply(board->world));
    return put_u16(at, port_current(board->world));
}

enum { VALID_WHOLE = 1, VALID_EXACT, VALID_UNDER_WAY };

/* What has outlived a reset is newer than what is in memory. */
static uint8_t *put_checkpoint(const struct board *board, uint8_t *at)
{
    const struct store *store = &board->store;
    const struct kept *kept = board->kept;
    bool outlived = !plan_in_force(&board->plan) && kept->fingerprint != 0;
    bool known = outlived || store->valid;
    uint8_t valid = store->valid ? VALID_WHOLE : 0;
    if (outlived)
        valid = kept->under_way ? VALID_UNDER_WAY : VALID_EXACT;
    at = put_u8(at, REPLY_CHECKPOINT);
    at = put_u8(at, valid);
    at = put_u32(at, !known ? 0 : outlived ? kept->fingerprint : store->fingerprint);
    at = put_u32(at, !known ? 0 : outlived ? kept->done : store->done);
    at = put_u16(at, store->valid ? store->sequence : 0);
    return put_u32(at, !known ? 0 : outlived ? kept->run : store->run);
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

static uint8_t *put_kind(struct replies *replies, const struct board *board, uint16_t kind, uint8_t *at)
{
    switch (kind) {
    case DUE_BOARD:
        return put_board(replies, board, at);
    case DUE_BED_TAKEN:
        at = put_u8(at, REPLY_BED_TAKEN);
        return put_u16(at, board->bed_check);
    case DUE_REFUSED:
        at = put_u8(at, REPLY_REFUSED);
        at = put_u8(at, replies->refused_type);
        return put_u8(at, replies->refused_reason);
    case DUE_FAULT:
        return put_fault(board, at);
    case DUE_DONE:
        return put_done(board, at);
    case DUE_PROBED:
        return put_probed(board, at);
    case DUE_CHECKPOINT:
        return put_checkpoint(board, at);
    case DUE_COUNTS:
        return put_counts(replies, board, at);
    default:
        return put_status(replies, board, at);
    }
}

uint16_t replies_compose(struct replies *replies, struct board *board, uint8_t *payload, uint8_t *length)
{
    uint16_t due = board->due;
    uint16_t kind = (uint16_t)(due & (uint16_t)-due);
    *length = 0;
    if (kind == 0)
        return 0;
    board->due = (uint16_t)(due & (uint16_t)~kind);
    board_take_run(board);
    *length = (uint8_t)(put_kind(replies, board, kind, payload) - payload);
    ASSURE(*length <= PAYLOAD_MAX);
    return kind;
}
