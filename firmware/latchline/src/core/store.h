/* What outlives power: the checkpoint and who the board is (docs/protocol.md section 12,
 * docs/explanation/checkpoint.md). A byte at a time, through the ports. */
#ifndef LATCHLINE_STORE_H
#define LATCHLINE_STORE_H

#include <stdbool.h>
#include <stdint.h>

#include "faults.h"
#include "limits.h"
#include "ports.h"

struct store {
    void *world;
    bool valid;
    bool waiting;       /* newer numbers are to be written: */
    uint32_t due_fingerprint;
    uint32_t due_run;
    uint32_t due_done;
    uint8_t slot;       /* the newest whole one, or that being written */
    uint8_t job_length; /* 0: nothing is being written */
    uint8_t job_step;   /* bytes written so far */
    uint16_t sequence;
    uint32_t fingerprint;
    uint32_t run;
    uint32_t done;
    uint16_t job_at;
    uint8_t job[CHECKPOINT_BYTES];
    uint32_t board; /* chosen at random at the first start */
    uint16_t boots;
};

/* What outlives a reset, but not a loss of power, if its port keeps it so: the plan in force, and whether a pass is
 * under way. Memory that was never written, or is torn, has no good check. */
struct kept {
    uint32_t fingerprint; /* 0: none */
    uint32_t run;
    uint32_t done;
    uint32_t under_way;
    uint32_t check;
};

void kept_put(struct kept *kept, uint32_t fingerprint, uint32_t run, uint32_t done, bool under_way);

/* After a start: nothing is kept unless only the reset pin or the watchdog struck and the check is good. */
void kept_start(struct kept *kept, uint8_t reset_cause);

void store_start(struct store *store, void *world);
void store_due(struct store *store, uint32_t fingerprint, uint32_t run, uint32_t done);
bool store_writing(const struct store *store);

/* True when there is something to do and the memory is ready for it. Under a pass no byte is written, but a slot that
 * has all of its bytes is finished. */
bool store_ready(const struct store *store, bool under_way);

/* One byte at most. */
struct verdict store_work(struct store *store);

#endif
