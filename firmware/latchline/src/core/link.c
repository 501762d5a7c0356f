#include "link.h"

#include <string.h>

#include "bytes.h"
#include "count.h"

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

static const uint8_t lengths[MESSAGE_END] = {0, 6, 38, 23, 46, 9, 2, 2, 1, 2, 3, 2};

void link_start(struct link *link, struct board *board)
{
    memset(link, 0, sizeof *link);
    receiver_start(&link->receiver);
    board->due = DUE_BOARD;
    link->status_age_ms = UINT16_MAX; /* none was ever sent */
    replies_told(board, &link->replies.told);
}

static void refuse(struct link *link, struct board *board, uint8_t type, enum reason reason)
{
    link->replies.refused_type = type;
    link->replies.refused_reason = (uint8_t)reason;
    board->due |= DUE_REFUSED;
}

static bool refused_unless(bool taken, struct link *link, struct board *board, uint8_t type, enum reason reason)
{
    if (!taken)
        refuse(link, board, type, reason);
    return taken;
}

static bool take_greet(struct link *link, struct board *board, const uint8_t *fields)
{
    link->greeted = true;
    link->wrong_version = fields[0] != PROTOCOL_VERSION;
    link->replies.nonce = get_u32(fields + 1);
    board->due |= DUE_BOARD;
    return !link->wrong_version;
}

static bool take_ask(struct board *board, uint8_t what)
{
    static const uint16_t answers[4] = {DUE_STATUS, DUE_COUNTS, DUE_CHECKPOINT, DUE_FAULT};
    if (what > ASKED_FAULT)
        return false;
    board->due |= answers[what];
    return true;
}

static bool take_pass(struct link *link, struct board *board, const uint8_t *fields)
{
    bool taken = board_take_pass(board, fields);
    if (!taken)
        count_up(&link->replies.stale);
    return taken;
}

/* The messages after which a STATUS is due at once. */
static bool steer(struct link *link, struct board *board, uint8_t type, const uint8_t *fields)
{
    switch (type) {
    case PLAN:
        return refused_unless(board_take_plan(board, fields), link, board, type, REASON_PLAN);
    case PASS:
        return take_pass(link, board, fields);
    case SEEN:
        return board_take_seen(board, fields);
    case PAUSE:
        return board_take_pause(board, fields[0]);
    case CLEAR:
        return board_take_clear(board, fields[0]);
    default:
        board_take_stop(board);
        return true;
    }
}

/* Does what a message says; false when it is refused or dropped. */
static bool take(struct link *link, struct board *board, uint8_t type, const uint8_t *fields)
{
    bool taken;
    switch (type) {
    case GREET:
        return take_greet(link, board, fields);
    case BED:
        return refused_unless(board_take_bed(board, fields), link, board, type, REASON_BED);
    case ASK:
        return take_ask(board, fields[0]);
    case PROBE:
        return refused_unless(board_take_probe(board, fields[0], fields[1]), link, board, type, REASON_PROBE);
    case BUZZ:
        board->watch.buzz_ms = (uint16_t)(fields[0] * 10);
        return true;
    default:
        taken = steer(link, board, type, fields);
        board->due |= DUE_STATUS;
        board_arm(board);
        return taken;
    }
}

static void take_frame(struct link *link, struct board *board, int8_t length)
{
    const uint8_t *payload = link->receiver.bytes;
    uint8_t type = payload[0];
    if (length == FRAME_BAD || type == 0 || type >= MESSAGE_END || (uint8_t)length != lengths[type]) {
        count_up(&link->replies.bad_frames);
        return;
    }
    if (link->wrong_version && type != GREET && type != STOP) {
        refuse(link, board, type, REASON_VERSION);
        return;
    }
    board_ask(board);
    if (take(link, board, type, payload + 1))
        board_heard(board);
    board_told(board);
}

uint8_t link_bytes(struct link *link, struct board *board, const uint8_t *bytes, uint8_t count)
{
    int8_t length = receiver_bytes(&link->receiver, bytes, &count);
    if (length != FRAME_NONE)
        take_frame(link, board, length);
    return count;
}

void link_bytes_lost(struct link *link)
{
    count_up(&link->replies.overruns);
}

void link_beat(struct link *link, struct board *board)
{
    const struct plan *plan = &board->plan;
    board_beat(board);
    board_edges(board); /* in the middle of a long piece of work */
    count_up(&link->status_age_ms);
    count_up(&link->done_age_ms);
    count_up(&link->fault_age_ms);
    if (board->fault.number != FAULT_NONE && link->fault_age_ms >= FAULT_AGAIN_MS)
        board->due |= DUE_FAULT;
    if (plan->seen != plan->done && link->done_age_ms >= DONE_AGAIN_MS && (board->due & DUE_DONE) == 0) {
        board->due_done = plan->seen + 1;
        board->due |= DUE_DONE;
    }
    if (link->status_age_ms >= STATUS_MS && link->greeted && board->watch.silent_ms <= HOST_ASLEEP_MS)
        board->due |= DUE_STATUS;
    else if (link->status_age_ms >= STATUS_CHANGED_MS && replies_anything_new(&link->replies, board))
        board->due |= DUE_STATUS;
}

/* The next frame's payload; waits that are counted from it begin anew. */
static void compose(struct link *link, struct board *board)
{
    uint8_t length;
    uint16_t kind = replies_compose(&link->replies, board, link->sender.bytes + 1, &length);
    if (kind == DUE_STATUS)
        link->status_age_ms = 0;
    else if (kind == DUE_DONE)
        link->done_age_ms = 0;
    else if (kind == DUE_FAULT)
        link->fault_age_ms = 0;
    sender_begin(&link->sender, length);
}

/* One small step towards the next frame; true while there is more to do at once. */
static bool send_work(struct link *link, struct board *board)
{
    if (link->sender.length == 0) {
        if (board->due == 0 || !port_line_idle(board->world))
            return false;
        compose(link, board);
        return true;
    }
    if (!link->sender.stuffed) {
        sender_stuff(&link->sender);
        return true;
    }
    if (!sender_check(&link->sender))
        return true;
    port_send(board->world, link->sender.bytes, link->sender.length);
    link->sender.length = 0;
    return true;
}

bool link_work(struct link *link, struct board *board)
{
    bool more = board_work(board);
    return send_work(link, board) || more;
}
