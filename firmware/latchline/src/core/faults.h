/* What can go wrong (docs/protocol.md section 11), and how a part of the core says so. */
#ifndef LATCHLINE_FAULTS_H
#define LATCHLINE_FAULTS_H

#include <stdbool.h>
#include <stdint.h>

#include "limits.h"

enum fault_number {
    FAULT_NONE = 0,
    FAULT_IMPOSSIBLE_STEP = 1,
    FAULT_SENSOR_DISAGREES = 2,
    FAULT_BOTH_SENSORS = 3,
    FAULT_TOO_FAST = 4,
    FAULT_NOT_READY = 5,
    FAULT_TURNED_EARLY = 6,
    FAULT_COIL_RESTED = 7,
    FAULT_NEEDLE_NOT_AS_PLANNED = 8,
    FAULT_HOST_SILENT = 9,
    FAULT_SUPPLY_LOW = 10,
    FAULT_CURRENT_HIGH = 11,
    FAULT_CHECKPOINT = 12,
    FAULT_EDGES_TOO_FAST = 13,
    FAULT_OFF_THE_BED = 14,
    FAULT_SELECTOR_LATE = 15,
    FAULT_SENSOR_SILENT = 16,
    FAULT_SENSOR_BOUNCES = 17,
    FAULT_ENCODER_SILENT = 18,
    FAULT_CHANNEL_DEAD = 19,
    FAULT_EDGES_MISSING = 20,
    FAULT_LEFT_AGAIN = 21
};

/* A part's verdict: nothing wrong, or what. Only board.c acts on it. */
struct verdict {
    uint8_t fault;  /* of enum fault_number */
    uint8_t needle; /* NO_NEEDLE: the one that the carriage stands at */
    uint16_t detail;
};

static inline struct verdict all_well(void)
{
    const struct verdict verdict = {FAULT_NONE, NO_NEEDLE, 0};
    return verdict;
}

static inline struct verdict wrong(enum fault_number fault, uint16_t detail)
{
    const struct verdict verdict = {(uint8_t)fault, NO_NEEDLE, detail};
    return verdict;
}

static inline bool fault_loses_position(uint8_t number)
{
    return (number >= FAULT_IMPOSSIBLE_STEP && number <= FAULT_BOTH_SENSORS) || number == FAULT_EDGES_TOO_FAST ||
           number == FAULT_OFF_THE_BED || (number >= FAULT_SENSOR_SILENT && number <= FAULT_EDGES_MISSING);
}

#endif
