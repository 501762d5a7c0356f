#include "pass.h"

#include <string.h>

#include "assure.h"
#include "bytes.h"
#include "count.h"
#include "crc.h"

static uint16_t divided_by_64(uint32_t ticks)
{
    ticks >>= 6;
    return ticks > UINT16_MAX ? UINT16_MAX : (uint16_t)ticks;
}

/* Where tenth `tenth` (1 to 10) ends, in terms of q; tens and ones apart, so that 16 bits do. */
static int16_t tenth_ends(const struct pass *pass, uint8_t tenth)
{
    int16_t width = (int16_t)(pass->finish_line - pass->start_line);
    return (int16_t)(pass->start_line + width / 10 * tenth + width % 10 * tenth / 10);
}

bool pass_fits(struct pass *pass, const struct plan *plan, const struct track *track)
{
    const struct slot *slot = plan_slot_seen(plan, plan->done + 1);
    struct lines lines;
    if (!plan_in_force(plan) || !plan_coming_loaded(plan) || plan->paused || !track->certain)
        return false;
    lines = slot->held.coming.lines;
    pass->rightward = slot->rightward;
    pass->start_line = pass->rightward ? lines.left : (int16_t)-lines.right;
    pass->finish_line = pass->rightward ? lines.right : (int16_t)-lines.left;
    return pass_along(pass, track->count) <= pass->start_line;
}

void pass_arm(struct pass *pass, const struct bed *bed, const struct plan *plan)
{
    pass->state = PASS_ARMED;
    select_begin(&pass->select, bed, plan, plan_slot_seen(plan, plan->done + 1));
}

/* Nothing driven, nothing reported. */
static void pass_begin(struct pass *pass, uint32_t tick)
{
    memset(&pass->report, 0, sizeof pass->report);
    memset(pass->driven, 0, sizeof pass->driven);
    pass->report.shortest = UINT16_MAX;
    pass->report.start = tick;
    pass->state = PASS_UNDER_WAY;
    pass->forward = true;
    pass->furthest = pass->start_line;
    pass->tenth = 0;
    pass->tenth_end = tenth_ends(pass, 1);
    pass->tenth_start = tick;
    pass->select.met = 0;
}

static void count_tenths(struct pass *pass, int16_t q, uint32_t tick)
{
    while (pass->tenth < 10 && q >= pass->tenth_end) {
        pass->report.tenths[pass->tenth] = divided_by_64(tick - pass->tenth_start);
        pass->tenth_start = tick;
        pass->tenth++;
        pass->tenth_end = tenth_ends(pass, (uint8_t)(pass->tenth + 1));
    }
}

/* A whole period takes the same time however uneven the channels are. */
static struct verdict note_period(struct pass *pass, const struct bed *bed, uint32_t period)
{
    uint32_t enough;
    uint16_t quarter;
    if (period == NO_PERIOD)
        return all_well();
    quarter = (uint16_t)(period / 4);
    if (quarter == 0)
        quarter = 1;
    if (quarter < pass->report.shortest)
        pass->report.shortest = quarter;
    if (quarter > bed->advance)
        return all_well();
    enough = (uint32_t)bed->advance * 4;
    if (period <= enough && bed->advance_max * period <= enough)
        return wrong(FAULT_TOO_FAST, (uint16_t)(period / 4));
    return all_well();
}

static void note_backing(struct pass *pass, const struct bed *bed, struct pass_step *step)
{
    uint16_t backed;
    if (step->forward) {
        pass->forward = true;
        if (step->q > pass->furthest) {
            pass->furthest = step->q;
            return;
        }
    } else if (pass->forward) {
        count_up_u8(&pass->report.backings);
        pass->forward = false;
    }
    backed = (uint16_t)(pass->furthest - step->q);
    if (backed > pass->report.backed)
        pass->report.backed = (uint8_t)(backed > UINT8_MAX ? UINT8_MAX : backed);
    if (backed > bed->backing) {
        step->event = PASS_FAULT;
        step->verdict = wrong(FAULT_TURNED_EARLY, backed);
    } else if (step->q <= pass->start_line && pass->select.met != 0) {
        step->event = PASS_FAULT;
        step->verdict = wrong(FAULT_LEFT_AGAIN, (uint16_t)(pass->select.met + (pass->rightward ? 256 : 0)));
        step->verdict.needle = select_furthest(&pass->select);
    } else if (step->q <= pass->start_line) {
        step->event = PASS_AS_NEW;
    }
}

struct pass_step pass_edge(struct pass *pass, const struct bed *bed, const struct track *track, int16_t from)
{
    struct pass_step step;
    step.event = PASS_UNTOUCHED;
    step.verdict = all_well();
    step.q = pass_along(pass, track->count);
    step.forward = step.q > pass_along(pass, from);
    if (pass->state == PASS_NONE || (pass->state == PASS_ARMED && step.q <= pass->start_line))
        return step;
    if (pass->state == PASS_ARMED)
        pass_begin(pass, track->tick);
    else if (track->interval > STOP_TICKS)
        count_up_u8(&pass->report.stops);
    step.event = PASS_FAULT;
    step.verdict = note_period(pass, bed, track->period);
    if (step.verdict.fault != FAULT_NONE)
        return step;
    count_tenths(pass, step.q, track->tick);
    step.event = PASS_DONE;
    if (step.q >= pass->finish_line)
        return step;
    step.event = PASS_GOES_ON;
    note_backing(pass, bed, &step);
    return step;
}

static bool enters(struct lines lines, const struct track *track, int16_t from)
{
    return track->rightward ? from == lines.left && track->count == lines.left + 1
                            : from == lines.right && track->count == lines.right - 1;
}

/* The lines are those of the coming pass if it is there, and those of the pass before if it was knitted; else the
 * plan's. */
static bool enters_any(const struct plan *plan, const struct track *track, int16_t from)
{
    bool loaded = plan_coming_loaded(plan);
    if (loaded && enters(plan_slot_seen(plan, plan->done + 1)->held.coming.lines, track, from))
        return true;
    if (plan->any_done)
        return enters(plan->last_lines, track, from);
    return !loaded && enters(plan->lines, track, from);
}

struct verdict pass_entered(const struct pass *pass, const struct plan *plan, const struct track *track, int16_t from)
{
    uint16_t detail = 2;
    if (!plan_goes_on(plan) || plan->paused || !enters_any(plan, track, from) ||
        (pass->state != PASS_NONE && pass->rightward == track->rightward))
        return all_well();
    if (!plan_coming_loaded(plan))
        detail = 0;
    else if (plan_slot_seen(plan, plan->done + 1)->rightward != track->rightward)
        detail = 1;
    return wrong(FAULT_NOT_READY, detail);
}

static uint16_t digest(const struct pass *pass, const struct plan *plan)
{
    uint8_t numbers[8];
    put_u32(put_u32(numbers, plan->fingerprint), plan->done + 1);
    return crc_over(crc_over(CRC_START, numbers, sizeof numbers), pass->driven, MASK_BYTES);
}

static uint8_t advance_needed(const struct bed *bed, uint16_t shortest)
{
    uint16_t edges;
    if (shortest == UINT16_MAX)
        return 1;
    edges = (uint16_t)(bed->advance / shortest);
    return (uint8_t)(edges >= UINT8_MAX ? UINT8_MAX : edges + 1);
}

void pass_file(struct pass *pass, const struct bed *bed, struct plan *plan, struct track *track)
{
    struct report *report = &pass->report;
    struct slot *slot = plan_slot(plan, plan->done + 1);
    report->digest = digest(pass, plan);
    report->advance = advance_needed(bed, report->shortest);
    report->furthest = pass->rightward ? track->lowest : track->highest;
    report->correction = track->correction;
    plan->last_lines = slot->held.coming.lines;
    plan->any_done = true;
    slot->held.report = *report;
    track->correction = 0;
    track_stretch_begin(track);
    plan->done++;
    pass->state = PASS_NONE;
}

uint8_t pass_needle(const struct pass *pass, int16_t count)
{
    return pass->state == PASS_UNDER_WAY ? select_needle(&pass->select, pass_along(pass, count)) : NO_NEEDLE;
}
