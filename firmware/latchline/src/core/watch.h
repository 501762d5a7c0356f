/* What is looked at once a millisecond: the host's silence, coil supply and current, and when the buzzer sounds
 * (docs/protocol.md sections 10 and 11). */
#ifndef LATCHLINE_WATCH_H
#define LATCHLINE_WATCH_H

#include <stdbool.h>
#include <stdint.h>

#include "bed.h"
#include "faults.h"

struct watch {
    uint16_t beat; /* milliseconds since the start, modulo 1000 */
    uint16_t buzz_ms;
    uint32_t silent_ms;
    uint8_t supply_low;
    uint8_t current_high;
    uint16_t supply;
    uint16_t current;
    bool buzzer;
};

void watch_beat(struct watch *watch);
struct verdict watch_host(const struct watch *watch, const struct bed *bed);

/* The newest readings, looked at only while the outputs are enabled. */
struct verdict watch_supply(struct watch *watch, const struct bed *bed, bool enabled);
struct verdict watch_current(struct watch *watch, const struct bed *bed, bool enabled);
void watch_outputs_switched(struct watch *watch);

/* Whether the buzzer sounds, with a fault, or with a hint that the knitter should wait. Counts BUZZ down. */
bool watch_sound(struct watch *watch, bool fault, bool hint);

#endif
