#include "pass.h"

#include <string.h>

#include "assure.h"
#include "count.h"
#include "crc.h"

/* 1 + advance / interval, or one more than the bed allows where it is more than that. */
static uint16_t advance_edges(const struct bed *bed, uint16_t interval)
{
    uint16_t whole = 0;
    if (interval <= 1)
        whole = bed->advance;
    else if (interval <= bed->advance)
        whole = (uint16_t)(bed->advance / interval);
    return whole > bed->advance_max ? (uint16_t)(bed->advance_max + 1u) : (uint16_t)(whole + 1u);
}

static uint8_t advance_kept(const struct bed *bed, uint16_t edges)
{
    return (uint8_t)(edges > bed->advance_max ? bed->advance_max : edges);
}

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
    if (!plan_in_force(plan) || !plan_coming_loaded(plan) || plan->paused || !track->certain)
        return false;
    pass->rightward = plan_slot_seen(plan, plan->done + 1)->rightward;
    pass->start_line = pass->rightward ? plan->left_line : (int16_t)-plan->right_line;
    pass->finish_line = pass->rightward ? plan->right_line : (int16_t)-plan->left_line;
    return pass_along(pass, track->count) <= pass->start_line;
}

/* The start of the pass as if it had not begun: nothing driven, nothing reported. */
void pass_renew(struct pass *pass, const struct bed *bed, const struct plan *plan)
{
    pass->state = PASS_ARMED;
    memset(&pass->report, 0, sizeof pass->report);
    memset(pass->driven, 0, sizeof pass->driven);
    pass->report.shortest = UINT16_MAX;
    select_begin(&pass->select, bed, plan, plan_slot_seen(plan, plan->done + 1), pass->start_line);
}

void pass_arm(struct pass *pass, const struct bed *bed, const struct plan *plan, const struct track *track)
{
    pass->advance = advance_kept(bed, advance_edges(bed, track->interval));
    pass_renew(pass, bed, plan);
}

static void pass_begin(struct pass *pass, uint32_t tick)
{
    pass->state = PASS_UNDER_WAY;
    pass->forward = false;
    pass->furthest = pass->start_line;
    pass->tenth = 0;
    pass->tenth_end = tenth_ends(pass, 1);
    pass->tenth_start = tick;
    pass->report.start = tick;
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

static void note_speed(struct pass *pass, const struct bed *bed, const struct track *track, bool first,
                       struct pass_step *step)
{
    uint16_t interval = track->interval;
    uint16_t edges = advance_edges(bed, interval);
    step->advance = advance_kept(bed, edges);
    if (interval < pass->report.shortest)
        pass->report.shortest = interval;
    if (interval > STOP_TICKS && !first)
        count_up_u8(&pass->report.stops);
    if (edges > bed->advance_max) {
        step->event = PASS_FAULT;
        step->verdict = wrong(FAULT_TOO_FAST, interval);
        return;
    }
    if (edges > pass->report.advance)
        pass->report.advance = (uint8_t)edges;
    count_tenths(pass, step->q, track->tick);
    if (step->q >= pass->finish_line)
        step->event = PASS_DONE;
}

static void note_backing(struct pass *pass, const struct bed *bed, struct pass_step *step)
{
    uint16_t backed;
    if (step->forward) {
        pass->forward = true;
        if (step->q > pass->furthest)
            pass->furthest = step->q;
        return;
    }
    if (pass->forward)
        count_up_u8(&pass->report.backings);
    pass->forward = false;
    backed = (uint16_t)(pass->furthest - step->q);
    if (backed > pass->report.backed)
        pass->report.backed = (uint8_t)(backed > UINT8_MAX ? UINT8_MAX : backed);
    if (backed > bed->backing) {
        step->event = PASS_FAULT;
        step->verdict = wrong(FAULT_TURNED_EARLY, backed);
    } else if (step->q <= pass->start_line) {
        step->event = PASS_AS_NEW;
    }
}

struct pass_step pass_edge(struct pass *pass, const struct bed *bed, const struct track *track, int16_t from)
{
    struct pass_step step;
    bool first = pass->state == PASS_ARMED;
    step.event = PASS_UNTOUCHED;
    step.verdict = all_well();
    step.q = pass_along(pass, track->count);
    step.forward = step.q > pass_along(pass, from);
    step.advance = 0;
    ASSURE(pass->state != PASS_NONE);
    if (first && step.q <= pass->start_line) {
        pass->advance = advance_kept(bed, advance_edges(bed, track->interval));
        return step;
    }
    if (first)
        pass_begin(pass, track->tick);
    step.event = PASS_GOES_ON;
    note_speed(pass, bed, track, first, &step);
    if (step.event == PASS_GOES_ON)
        note_backing(pass, bed, &step);
    return step;
}

static bool enters(const struct plan *plan, const struct track *track, int16_t from)
{
    return track->rightward ? from == plan->left_line && track->count == plan->left_line + 1
                            : from == plan->right_line && track->count == plan->right_line - 1;
}

struct verdict pass_entered(const struct plan *plan, const struct track *track, int16_t from)
{
    uint16_t detail = 2;
    if (!plan_goes_on(plan) || plan->paused || !enters(plan, track, from))
        return all_well();
    if (!plan_coming_loaded(plan))
        detail = 0;
    else if (plan_slot_seen(plan, plan->done + 1)->rightward != track->rightward)
        detail = 1;
    return wrong(FAULT_NOT_READY, detail);
}

static uint16_t digest(const struct pass *pass, const struct plan *plan)
{
    const uint32_t numbers[2] = {plan->fingerprint, plan->done + 1};
    uint16_t crc = CRC_START;
    uint8_t at;
    for (at = 0; at < 8; at++)
        crc = crc_step(crc, (uint8_t)(numbers[at >> 2] >> ((at & 3) * 8)));
    for (at = 0; at < MASK_BYTES; at++)
        crc = crc_step(crc, pass->driven[at]);
    return crc;
}

void pass_file(struct pass *pass, struct plan *plan, struct track *track)
{
    struct report *report = &pass->report;
    report->digest = digest(pass, plan);
    report->furthest = pass->rightward ? track->lowest : track->highest;
    report->correction = track->correction;
    plan_slot(plan, plan->done + 1)->held.report = *report;
    track->correction = 0;
    track_stretch_begin(track);
    plan->done++;
    pass->state = PASS_NONE;
}

uint8_t pass_needle(const struct pass *pass, int16_t count)
{
    return pass->state == PASS_UNDER_WAY ? select_needle(&pass->select, pass_along(pass, count)) : NO_NEEDLE;
}
