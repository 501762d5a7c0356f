/* What happens once a millisecond: silence, supply, probe, buzzer; and showing lamp and outputs. */
#include "rooms.h"

#define FAULT_BUZZ_EVERY 500
#define FAULT_BUZZ_MS 100
#define HINT_BUZZ_MS 50
#define SECOND_MS 1000

/* Output enable and lamp follow from the rest of the state; called wherever that changes. */
void outputs_show(struct board *board)
{
    struct beats *beats = &board->beats;
    const struct ports *ports = board->ports;
    bool active = board->pass.state != PASS_NONE;
    bool enabled = active || board->probe.left_ms != 0;
    bool lamp = active && board->position.certain && board->fault.number == FAULT_NONE;
    if (enabled != beats->enabled) {
        beats->enabled = enabled;
        beats->supply_low = 0;
        beats->current_high = 0;
        ports->enable(ports->world, enabled);
    }
    if (lamp != beats->lamp) {
        beats->lamp = lamp;
        ports->lamp(ports->world, lamp);
    }
}

static void watch_silence(struct board *board)
{
    const struct plan *plan = &board->plan;
    if (board->link.silent_ms != UINT32_MAX)
        board->link.silent_ms++;
    if (plan->fingerprint != 0 && board->bed.patience_ms != 0 && board->link.silent_ms > board->bed.patience_ms)
        fault_raise(board, FAULT_HOST_SILENT, NO_NEEDLE, 0);
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

static void watch_supply(struct board *board)
{
    struct beats *beats = &board->beats;
    const struct bed *bed = &board->bed;
    beats->supply = board->ports->supply(board->ports->world);
    beats->current = board->ports->current(board->ports->world);
    if (!beats->enabled)
        return;
    if (ran_to(&beats->supply_low, bed->supply_min != 0 && beats->supply < bed->supply_min, SUPPLY_LOW_READINGS))
        fault_raise(board, FAULT_SUPPLY_LOW, NO_NEEDLE, beats->supply);
    if (ran_to(&beats->current_high, bed->current_max != 0 && beats->current > bed->current_max,
               CURRENT_HIGH_READINGS))
        fault_raise(board, FAULT_CURRENT_HIGH, NO_NEEDLE, beats->current);
}

static void buzz(struct board *board)
{
    struct beats *beats = &board->beats;
    const struct plan *plan = &board->plan;
    bool hint = (board->pass.state == PASS_UNDER_WAY && board->coils.rested != 0) ||
                (plan->fingerprint != 0 && plan->done != plan->last && board->position.certain && !plan->paused &&
                 board->pass.state != PASS_UNDER_WAY && !pass_loaded(board));
    bool sound = (board->fault.number != FAULT_NONE && beats->beat % FAULT_BUZZ_EVERY < FAULT_BUZZ_MS) ||
                 (hint && beats->beat < HINT_BUZZ_MS) || beats->buzz_ms != 0;
    if (beats->buzz_ms != 0)
        beats->buzz_ms--;
    if (sound != beats->buzzer) {
        beats->buzzer = sound;
        board->ports->buzzer(board->ports->world, sound);
    }
}

bool probe_begin(struct board *board, uint8_t selector, uint8_t time_ms)
{
    struct probe *probe = &board->probe;
    if (!board->bed_set || board->plan.fingerprint != 0 || board->fault.number != FAULT_NONE ||
        probe->left_ms != 0 || selector >= board->bed.count || time_ms == 0 || time_ms >= board->bed.limit_ms)
        return false;
    probe->selector = selector;
    probe->left_ms = time_ms;
    probe->supply_idle = board->ports->supply(board->ports->world);
    probe->current_idle = board->ports->current(board->ports->world);
    outputs_show(board);
    output_now(board, (uint16_t)(1u << selector));
    return true;
}

void probe_end(struct board *board)
{
    if (board->probe.left_ms == 0)
        return;
    board->probe.left_ms = 0;
    coils_off(board);
    outputs_show(board);
}

static void probe_beat(struct board *board)
{
    struct probe *probe = &board->probe;
    if (probe->left_ms == 0)
        return;
    if (probe->left_ms > 1) {
        probe->left_ms--;
        return;
    }
    probe->supply_on = board->beats.supply;
    probe->current_on = board->beats.current;
    probe_end(board);
    board->link.due |= DUE_PROBED;
}

void board_beat(struct board *board)
{
    struct beats *beats = &board->beats;
    beats->beat = beats->beat == SECOND_MS - 1 ? 0 : (uint16_t)(beats->beat + 1);
    run_age(board);
    watch_silence(board);
    watch_supply(board);
    probe_beat(board);
    buzz(board);
    link_beat(board);
}
