/* What the host says, and when the board speaks (docs/protocol.md sections 3 and 10). */
#include "bytes.h"
#include "rooms.h"

#include <string.h>

enum message {
    GREET = 1,
    BED,
    PLAN,
    PASS,
    SEEN,
    PAUSE,
    CLEAR,
    STOP,
    ASK,
    PROBE,
    BUZZ,
    MESSAGE_END
};

enum asked { ASKED_STATUS, ASKED_COUNTS, ASKED_CHECKPOINT, ASKED_FAULT };
enum reason { REASON_BED = 1, REASON_PLAN, REASON_PROBE, REASON_VERSION };

static const uint8_t lengths[MESSAGE_END] = {0, 6, 30, 19, 42, 9, 2, 2, 1, 2, 3, 2};

void link_start(struct board *board)
{
    struct link *link = &board->link;
    receiver_start(&link->receiver);
    link->due = DUE_BOARD;
    link->status_age_ms = UINT16_MAX; /* none was ever sent */
    replies_told(board, &link->told);
}

static void refuse(struct board *board, uint8_t type, enum reason reason)
{
    board->link.refused_type = type;
    board->link.refused_reason = (uint8_t)reason;
    board->link.due |= DUE_REFUSED;
}

static void take_greet(struct board *board, const uint8_t *fields)
{
    struct link *link = &board->link;
    link->greeted = true;
    link->wrong_version = fields[0] != PROTOCOL_VERSION;
    link->nonce = get_u32(fields + 1);
    link->due |= DUE_BOARD;
}

static void take_pause(struct board *board, bool paused)
{
    board->plan.pause_wanted = paused;
    if (!paused)
        board->plan.paused = false;
}

static void take_ask(struct board *board, uint8_t what)
{
    static const uint16_t answers[4] = {DUE_STATUS, DUE_COUNTS, DUE_CHECKPOINT, DUE_FAULT};
    if (what <= ASKED_FAULT)
        board->link.due |= answers[what];
}

static void take(struct board *board, uint8_t type, const uint8_t *fields)
{
    board->run.direct = false; /* edges that come while things change are noted and looked at afterwards */
    run_take(board);
    switch (type) {
    case BED:
        if (bed_take(board, fields))
            board->link.due |= DUE_BED_TAKEN;
        else
            refuse(board, type, REASON_BED);
        break;
    case PLAN:
        if (!plan_start(board, fields))
            refuse(board, type, REASON_PLAN);
        break;
    case PASS:
        plan_take_pass(board, fields);
        break;
    case SEEN:
        plan_take_seen(board, fields);
        break;
    case PAUSE:
        take_pause(board, fields[0] != 0);
        break;
    case CLEAR:
        fault_clear(board, fields[0]);
        break;
    case STOP:
        plan_end(board);
        break;
    case ASK:
        take_ask(board, fields[0]);
        break;
    case PROBE:
        if (!probe_begin(board, fields[0], fields[1]))
            refuse(board, type, REASON_PROBE);
        break;
    default:
        board->beats.buzz_ms = (uint16_t)(fields[0] * 10);
        break;
    }
    if (type >= PLAN && type <= STOP)
        board->link.due |= DUE_STATUS;
    pass_arm_or_not(board);
    run_find(board);
}

void board_byte(struct board *board, uint8_t byte)
{
    struct link *link = &board->link;
    const uint8_t *payload = link->receiver.bytes;
    int8_t length = receiver_byte(&link->receiver, byte);
    if (length == FRAME_NONE)
        return;
    if (length == FRAME_BAD || payload[0] == 0 || payload[0] >= MESSAGE_END ||
        (uint8_t)length != lengths[payload[0]]) {
        count_up(&board->counts.bad_frames);
        return;
    }
    link->silent_ms = 0;
    if (payload[0] == GREET)
        take_greet(board, payload + 1);
    else if (link->wrong_version)
        refuse(board, payload[0], REASON_VERSION);
    else
        take(board, payload[0], payload + 1);
}

void board_bytes_lost(struct board *board)
{
    count_up(&board->counts.overruns);
}

static bool told_anything_new(const struct board *board)
{
    const struct told *old = &board->link.told;
    struct told now;
    memset(&now, 0, sizeof now);
    replies_told(board, &now);
    return memcmp(&now, old, sizeof now) != 0;
}

static void age(uint16_t *age_ms)
{
    if (*age_ms != UINT16_MAX)
        (*age_ms)++;
}

void link_beat(struct board *board)
{
    struct link *link = &board->link;
    struct fault *fault = &board->fault;
    age(&link->status_age_ms);
    age(&link->done_age_ms);
    age(&fault->age_ms);
    if (fault->number != 0 && fault->age_ms >= FAULT_AGAIN_MS)
        link->due |= DUE_FAULT;
    if (board->plan.seen != board->plan.done && link->done_age_ms >= DONE_AGAIN_MS && (link->due & DUE_DONE) == 0) {
        link->oldest_done = true;
        link->due |= DUE_DONE;
    }
    if (link->status_age_ms >= STATUS_MS && link->greeted && link->silent_ms <= HOST_ASLEEP_MS)
        link->due |= DUE_STATUS;
    else if (link->status_age_ms >= STATUS_CHANGED_MS && told_anything_new(board))
        link->due |= DUE_STATUS;
}

/* One small step towards the next frame; true while there is more to do at once. */
bool link_work(struct board *board)
{
    struct link *link = &board->link;
    const struct ports *ports = board->ports;
    if (link->sender.length == 0) {
        if (link->due == 0 || !ports->line_idle(ports->world))
            return false;
        sender_begin(&link->sender, replies_compose(board, link->sender.bytes + 1));
        return true;
    }
    if (!link->sender.stuffed) {
        sender_stuff(&link->sender);
        return true;
    }
    if (!sender_check(&link->sender))
        return true;
    ports->send(ports->world, link->sender.bytes, link->sender.length);
    link->sender.length = 0;
    return true;
}
