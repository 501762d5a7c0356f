#include "watch.h"

#define FAULT_BUZZ_EVERY 500
#define FAULT_BUZZ_MS 100
#define HINT_BUZZ_MS 50
#define SECOND_MS 1000

void watch_beat(struct watch *watch)
{
    watch->beat = watch->beat == SECOND_MS - 1 ? 0 : (uint16_t)(watch->beat + 1);
    if (watch->silent_ms != UINT32_MAX)
        watch->silent_ms++;
}

struct verdict watch_host(const struct watch *watch, const struct bed *bed)
{
    if (bed->patience_ms != 0 && watch->silent_ms > bed->patience_ms)
        return wrong(FAULT_HOST_SILENT, 0);
    return all_well();
}

static bool ran_to(uint8_t *running, bool bad, uint8_t end)
{
    if (!bad) {
        *running = 0;
        return false;
    }
    if (*running < end)
        (*running)++;
    return *running == end;
}

struct verdict watch_supply(struct watch *watch, const struct bed *bed, bool enabled)
{
    bool low = bed->supply_min != 0 && watch->supply < bed->supply_min;
    if (enabled && ran_to(&watch->supply_low, low, SUPPLY_LOW_READINGS))
        return wrong(FAULT_SUPPLY_LOW, watch->supply);
    return all_well();
}

struct verdict watch_current(struct watch *watch, const struct bed *bed, bool enabled)
{
    bool high = bed->current_max != 0 && watch->current > bed->current_max;
    if (enabled && ran_to(&watch->current_high, high, CURRENT_HIGH_READINGS))
        return wrong(FAULT_CURRENT_HIGH, watch->current);
    return all_well();
}

void watch_outputs_switched(struct watch *watch)
{
    watch->supply_low = 0;
    watch->current_high = 0;
}

bool watch_sound(struct watch *watch, bool fault, bool hint)
{
    uint16_t half = watch->beat < FAULT_BUZZ_EVERY ? watch->beat : (uint16_t)(watch->beat - FAULT_BUZZ_EVERY);
    bool sound = (fault && half < FAULT_BUZZ_MS) || (hint && watch->beat < HINT_BUZZ_MS) ||
                 watch->buzz_ms != 0;
    if (watch->buzz_ms != 0)
        watch->buzz_ms--;
    return sound;
}
