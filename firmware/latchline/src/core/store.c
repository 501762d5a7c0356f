#include "store.h"

#include "bytes.h"
#include "count.h"
#include "crc.h"

#define COVERED (CHECKPOINT_BYTES - 2) /* bytes that a slot's check covers */

#define RESET_PIN 2
#define WATCHDOG 8
#define KEPT_MARK 0x6C61746Du /* so that memory of nothing but zeros has no good check */

static uint32_t kept_check(const struct kept *kept)
{
    return kept->fingerprint ^ (kept->run + (kept->done << 16 | kept->done >> 16)) ^ (kept->under_way + KEPT_MARK);
}

void kept_put(struct kept *kept, uint32_t fingerprint, uint32_t run, uint32_t done, bool under_way)
{
    kept->fingerprint = fingerprint;
    kept->run = run;
    kept->done = done;
    kept->under_way = under_way;
    kept->check = kept_check(kept);
}

void kept_start(struct kept *kept, uint8_t reset_cause)
{
    bool outlives = reset_cause != 0 && (reset_cause & (uint8_t)~(RESET_PIN | WATCHDOG)) == 0;
    if (!outlives || kept->check != kept_check(kept) || kept->under_way > 1)
        kept_put(kept, 0, 0, 0, false);
}

static uint8_t read_at(const struct store *store, uint16_t at)
{
    return port_memory_read(store->world, at);
}

static void read_bytes(const struct store *store, uint16_t at, uint8_t *into, uint8_t length)
{
    for (; length != 0; length--)
        *into++ = read_at(store, at++);
}

static uint16_t check_of(const uint8_t *slot)
{
    return crc_over(CRC_START, slot, COVERED);
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

static void find_newest(struct store *store)
{
    uint8_t bytes[CHECKPOINT_BYTES];
    uint8_t slot;
    store->valid = false;
    store->slot = CHECKPOINT_SLOTS - 1;
    for (slot = 0; slot < CHECKPOINT_SLOTS; slot++) {
        uint16_t sequence;
        read_bytes(store, (uint16_t)(slot * CHECKPOINT_BYTES), bytes, CHECKPOINT_BYTES);
        sequence = get_u16(bytes);
        if (is_empty(bytes) || get_u16(bytes + COVERED) != check_of(bytes))
            continue;
        if (store->valid && (int16_t)(uint16_t)(sequence - store->sequence) <= 0)
            continue;
        store->valid = true;
        store->slot = slot;
        store->sequence = sequence;
        store->fingerprint = get_u32(bytes + 2);
        store->run = get_u32(bytes + 6);
        store->done = get_u32(bytes + 10);
    }
}

/* Board number and count of starts, each with its complement, written as one job at every start. */
static void identify(struct store *store)
{
    uint8_t *job = store->job;
    read_bytes(store, IDENTITY_AT, job, IDENTITY_BYTES);
    store->board = get_u32(job);
    if ((store->board ^ get_u32(job + 4)) != UINT32_MAX)
        store->board = port_chance(store->world);
    store->boots = get_u16(job + 8);
    if ((uint16_t)(store->boots ^ get_u16(job + 10)) != UINT16_MAX)
        store->boots = 0;
    count_up(&store->boots);
    job = put_u32(job, store->board);
    job = put_u32(job, (uint32_t)~store->board);
    job = put_u16(job, store->boots);
    put_u16(job, (uint16_t)~store->boots);
    store->job_at = IDENTITY_AT;
    store->job_step = 0;
    store->job_length = IDENTITY_BYTES;
}

void store_start(struct store *store, void *world)
{
    store->world = world;
    find_newest(store);
    store->waiting = false;
    identify(store);
}

void store_due(struct store *store, uint32_t fingerprint, uint32_t run, uint32_t done)
{
    store->waiting = true;
    store->due_fingerprint = fingerprint;
    store->due_run = run;
    store->due_done = done;
}

static bool slot_job(const struct store *store)
{
    return store->job_length != 0 && store->job_at < IDENTITY_AT;
}

bool store_writing(const struct store *store)
{
    return store->waiting || slot_job(store);
}

/* Into the slot after the newest whole one. Newer numbers than those half written take the same slot
 * and begin again, unless all of its bytes are there: then it is the newest whole one. */
static void begin_slot(struct store *store)
{
    uint8_t slot = store->slot == CHECKPOINT_SLOTS - 1 ? 0 : (uint8_t)(store->slot + 1);
    uint8_t *job = store->job;
    store->waiting = false;
    put_u16(job, store->valid ? (uint16_t)(store->sequence + 1) : 1);
    put_u32(job + 2, store->due_fingerprint);
    put_u32(job + 6, store->due_run);
    put_u32(job + 10, store->due_done);
    put_u16(job + COVERED, check_of(job));
    store->job_at = (uint16_t)(slot * CHECKPOINT_BYTES);
    store->job_step = 0;
    store->job_length = CHECKPOINT_BYTES;
}

static struct verdict end_job(struct store *store)
{
    uint8_t found[CHECKPOINT_BYTES];
    uint8_t at;
    bool good = true;
    read_bytes(store, store->job_at, found, store->job_length);
    for (at = 0; at < store->job_length; at++)
        good = good && found[at] == store->job[at];
    store->job_length = 0;
    if (store->job_at >= IDENTITY_AT)
        return all_well();
    store->slot = (uint8_t)(store->job_at / CHECKPOINT_BYTES);
    if (!good)
        return wrong(FAULT_CHECKPOINT, store->slot);
    store->valid = true;
    store->sequence = get_u16(store->job);
    store->fingerprint = get_u32(store->job + 2);
    store->run = get_u32(store->job + 6);
    store->done = get_u32(store->job + 10);
    return all_well();
}

/* The order of a slot's bytes: the sequence last, low byte first. */
static uint8_t job_byte(const struct store *store)
{
    uint8_t at = (uint8_t)(store->job_step + 2);
    return at < store->job_length ? at : (uint8_t)(at - store->job_length);
}

static bool is_next_right(const struct store *store)
{
    uint8_t at = job_byte(store);
    return read_at(store, (uint16_t)(store->job_at + at)) == store->job[at];
}

bool store_ready(const struct store *store, bool under_way)
{
    if ((store->job_length == 0 && !store->waiting) || port_memory_busy(store->world))
        return false;
    return !under_way || store->waiting || store->job_step == store->job_length || is_next_right(store);
}

struct verdict store_work(struct store *store)
{
    if (store->job_length != 0) {
        if (store->job_step == store->job_length)
            return end_job(store);
        if (is_next_right(store)) {
            store->job_step++;
            return all_well();
        }
    }
    if (store->waiting && (store->job_length == 0 || slot_job(store))) {
        begin_slot(store);
    } else {
        uint8_t at = job_byte(store);
        port_memory_write(store->world, (uint16_t)(store->job_at + at), store->job[at]);
        store->job_step++;
    }
    return all_well();
}
