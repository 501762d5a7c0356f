/* The checkpoint: a ring of slots, a byte at a time (docs/protocol.md section 12, docs/explanation/checkpoint.md). */
#include "bytes.h"
#include "crc.h"
#include "rooms.h"

#define COVERED 10 /* bytes that a slot's check covers */

static uint8_t read_at(const struct board *board, uint16_t at)
{
    return board->ports->memory_read(board->ports->world, at);
}

static void read_bytes(const struct board *board, uint16_t at, uint8_t *into, uint8_t length)
{
    for (; length != 0; length--)
        *into++ = read_at(board, at++);
}

static uint16_t check_of(const uint8_t *slot)
{
    uint16_t crc = CRC_START;
    uint8_t at;
    for (at = 0; at < COVERED; at++)
        crc = crc_step(crc, slot[at]);
    return crc;
}

static bool is_empty(const uint8_t *slot)
{
    uint8_t at;
    for (at = 0; at < CHECKPOINT_BYTES; at++) {
        if (slot[at] != 0xFF)
            return false;
    }
    return true;
}

static void find_newest(struct board *board)
{
    struct checkpoint *checkpoint = &board->checkpoint;
    uint8_t bytes[CHECKPOINT_BYTES];
    uint8_t slot;
    checkpoint->valid = false;
    checkpoint->slot = CHECKPOINT_SLOTS - 1;
    for (slot = 0; slot < CHECKPOINT_SLOTS; slot++) {
        uint16_t sequence;
        read_bytes(board, (uint16_t)(slot * CHECKPOINT_BYTES), bytes, CHECKPOINT_BYTES);
        sequence = get_u16(bytes);
        if (is_empty(bytes) || get_u16(bytes + COVERED) != check_of(bytes))
            continue;
        if (checkpoint->valid && (int16_t)(uint16_t)(sequence - checkpoint->sequence) <= 0)
            continue;
        checkpoint->valid = true;
        checkpoint->slot = slot;
        checkpoint->sequence = sequence;
        checkpoint->fingerprint = get_u32(bytes + 2);
        checkpoint->done = get_u32(bytes + 6);
    }
}

/* Board number and count of starts, each with its complement, written as one job at every start. */
static void identify(struct board *board)
{
    struct checkpoint *checkpoint = &board->checkpoint;
    uint8_t *job = checkpoint->job;
    read_bytes(board, IDENTITY_AT, job, CHECKPOINT_BYTES);
    board->number = get_u32(job);
    if ((board->number ^ get_u32(job + 4)) != UINT32_MAX)
        board->number = board->ports->chance(board->ports->world);
    board->boots = get_u16(job + 8);
    if ((uint16_t)(board->boots ^ get_u16(job + 10)) != UINT16_MAX)
        board->boots = 0;
    count_up(&board->boots);
    job = put_u32(job, board->number);
    job = put_u32(job, (uint32_t)~board->number);
    job = put_u16(job, board->boots);
    put_u16(job, (uint16_t)~board->boots);
    checkpoint->job_at = IDENTITY_AT;
    checkpoint->job_step = 0;
    checkpoint->job_length = CHECKPOINT_BYTES;
}

void checkpoint_start(struct board *board)
{
    find_newest(board);
    board->checkpoint.waiting = false;
    identify(board);
}

void checkpoint_due(struct board *board)
{
    struct checkpoint *checkpoint = &board->checkpoint;
    checkpoint->waiting = true;
    checkpoint->due_fingerprint = board->plan.fingerprint;
    checkpoint->due_done = board->plan.done;
}

static bool slot_job(const struct checkpoint *checkpoint)
{
    return checkpoint->job_length != 0 && checkpoint->job_at < IDENTITY_AT;
}

bool checkpoint_writing(const struct board *board)
{
    return board->checkpoint.waiting || slot_job(&board->checkpoint);
}

/* Into the slot after the newest whole one. Newer numbers than those half written take the same slot
 * and begin again. */
static void begin_slot(struct checkpoint *checkpoint)
{
    uint8_t slot = checkpoint->slot == CHECKPOINT_SLOTS - 1 ? 0 : (uint8_t)(checkpoint->slot + 1);
    uint8_t *job = checkpoint->job;
    checkpoint->waiting = false;
    put_u16(job, checkpoint->valid ? (uint16_t)(checkpoint->sequence + 1) : 1);
    put_u32(job + 2, checkpoint->due_fingerprint);
    put_u32(job + 6, checkpoint->due_done);
    put_u16(job + COVERED, check_of(job));
    checkpoint->job_at = (uint16_t)(slot * CHECKPOINT_BYTES);
    checkpoint->job_step = 0;
    checkpoint->job_length = CHECKPOINT_BYTES;
}

static void end_job(struct board *board)
{
    struct checkpoint *checkpoint = &board->checkpoint;
    uint8_t found[CHECKPOINT_BYTES];
    uint8_t at;
    bool good = true;
    read_bytes(board, checkpoint->job_at, found, CHECKPOINT_BYTES);
    for (at = 0; at < CHECKPOINT_BYTES; at++)
        good = good && found[at] == checkpoint->job[at];
    if (slot_job(checkpoint)) {
        checkpoint->slot = (uint8_t)(checkpoint->job_at / CHECKPOINT_BYTES);
        if (good) {
            checkpoint->valid = true;
            checkpoint->sequence = get_u16(checkpoint->job);
            checkpoint->fingerprint = get_u32(checkpoint->job + 2);
            checkpoint->done = get_u32(checkpoint->job + 6);
        } else {
            fault_raise(board, FAULT_CHECKPOINT, NO_NEEDLE, checkpoint->slot);
        }
    }
    checkpoint->job_length = 0;
}

/* The order of a slot's bytes: the sequence last, low byte first. */
static uint8_t job_byte(const struct checkpoint *checkpoint)
{
    return (uint8_t)((checkpoint->job_step + 2) % CHECKPOINT_BYTES);
}

/* One byte at most. Nothing is written while a pass is under way, nor while one byte still burns in. */
bool checkpoint_work(struct board *board)
{
    struct checkpoint *checkpoint = &board->checkpoint;
    const struct ports *ports = board->ports;
    uint8_t at;
    if (board->pass.state == PASS_UNDER_WAY || (checkpoint->job_length == 0 && !checkpoint->waiting) ||
        ports->memory_busy(ports->world))
        return false;
    if (checkpoint->waiting && (checkpoint->job_length == 0 || slot_job(checkpoint))) {
        begin_slot(checkpoint);
        return true;
    }
    if (checkpoint->job_step == checkpoint->job_length) {
        end_job(board);
        return true;
    }
    at = job_byte(checkpoint);
    checkpoint->job_step++;
    if (read_at(board, (uint16_t)(checkpoint->job_at + at)) != checkpoint->job[at])
        ports->memory_write(ports->world, (uint16_t)(checkpoint->job_at + at), checkpoint->job[at]);
    return true;
}
