#include "board.h"

#include <string.h>

#include "assure.h"
#include "lock.h"

/* ---- outputs and faults -------------------------------------------------------------------------------- */

static uint32_t ticks(const struct board *board)
{
    return port_ticks(board->world);
}

/* Output enable and lamp follow from the rest of the state; called wherever that changes. */
static void outputs_show(struct board *board)
{
    bool active = board->pass.state != PASS_NONE;
    bool lamp = board->pass.state == PASS_UNDER_WAY || (active && !board->plan.pause_wanted);
    if (drive_show(&board->drive, active || board->probe.left_ms != 0, lamp))
        watch_outputs_switched(&board->watch);
}

static void coils_off(struct board *board)
{
    drive_put(&board->drive, 0, ticks(board));
}

/* What outlives a reset follows the plan in force. */
static void keep(struct board *board)
{
    const struct plan *plan = &board->plan;
    if (plan_in_force(plan))
        kept_put(board->kept, plan->fingerprint, plan->run, plan->done, board->pass.state == PASS_UNDER_WAY);
}

static void probe_end(struct board *board)
{
    if (board->probe.left_ms == 0)
        return;
    board->probe.left_ms = 0;
    coils_off(board);
    outputs_show(board);
}

/* A pause that was asked for takes effect at the latest when no pass is armed or under way any more. */
static void pass_abandon(struct board *board)
{
    board->pass.state = PASS_NONE;
    board->plan.paused = board->plan.paused || board->plan.pause_wanted;
    coils_off(board);
    outputs_show(board);
    keep(board);
}

/* Takes over what the edge interrupt has counted by itself; it counts no more until the next edge has been taken. */
static void run_end(struct board *board)
{
    struct edges *edges = &board->drive.edges;
    if (!board->drive.ready)
        edges->awaited = NO_PINS;
    board_take_run(board);
    edges->room = 0;
    edges->given = 0;
}

/* Unsure means off: whatever goes wrong ends the pass under way and switches the coils off. The first fault
 * stands; a later one still switches off and may still lose the position. */
static void raise_fault(struct board *board, struct verdict verdict)
{
    struct fault *fault = &board->fault;
    run_end(board); /* so that the place is that of the moment */
    if (fault->number == FAULT_NONE) {
        fault->number = verdict.fault;
        fault->needle = verdict.needle == NO_NEEDLE ? pass_needle(&board->pass, board->track.count) : verdict.needle;
        fault->fingerprint = board->plan.fingerprint;
        fault->pass = plan_coming(&board->plan);
        fault->position = board->track.count;
        fault->detail = verdict.detail;
        board->due |= DUE_FAULT;
    }
    probe_end(board);
    pass_abandon(board);
    if (fault_loses_position(verdict.fault))
        track_lose(&board->track);
}

/* True when something was wrong. */
static inline bool act_on(struct board *board, struct verdict verdict)
{
    if (verdict.fault == FAULT_NONE)
        return false;
    raise_fault(board, verdict);
    return true;
}

/* ---- runs of edges that only count ------------------------------------------------------------------------ */

static void stay_between(struct lines lines, int16_t count, int16_t *low, int16_t *high)
{
    if (count <= lines.left && lines.left < *high)
        *high = lines.left;
    if (count > lines.left && lines.left > *low)
        *low = lines.left;
    if (count < lines.right && lines.right < *high)
        *high = lines.right;
    if (count >= lines.right && lines.right > *low)
        *low = lines.right;
}

/* Between which counts, both excluded, edges have no more to do than to count. False: nowhere. */
static bool quiet_between(const struct board *board, int16_t *low, int16_t *high)
{
    const struct plan *plan = &board->plan;
    int16_t count = board->track.count;
    if (!track_quiet(&board->track, low, high))
        return false;
    if (!plan_in_force(plan) || !board->track.certain)
        return true;
    stay_between(plan->lines, count, low, high);
    if (plan_coming_loaded(plan))
        stay_between(plan_slot_seen(plan, plan->done + 1)->held.coming.lines, count, low, high);
    if (plan->any_done)
        stay_between(plan->last_lines, count, low, high);
    return true;
}

static uint8_t quiet_room(const struct board *board)
{
    const struct track *track = &board->track;
    int16_t low;
    int16_t high;
    uint16_t room;
    if (!bed_is_set(&board->bed) || track->fresh || board->pass.state != PASS_NONE || board->drive.resting != 0 ||
        !quiet_between(board, &low, &high))
        return 0;
    room = track->rightward ? (uint16_t)((uint16_t)high - (uint16_t)track->count)
                            : (uint16_t)((uint16_t)track->count - (uint16_t)low);
    if (room <= 1)
        return 0;
    return (uint8_t)(room > UINT8_MAX ? UINT8_MAX : room - 1);
}

/* The times of edges that a hand can make are looked at; a run has none. After a turn only the edge that waits tells how
 * quick they are. */
static bool edges_are_quick(const struct board *board)
{
    const struct edges *edges = &board->drive.edges;
    uint8_t at = edges->taken;
    uint8_t noted = edges->noted;
    uint8_t waiting = (uint8_t)(noted < at ? NOTES * NOTE_BYTES - at + noted : noted - at);
    if (board->track.interval < QUICK_TICKS || waiting >= NOTES * NOTE_BYTES / 2)
        return true;
    return waiting != 0 && (uint16_t)(notes_tick(board->notes, at) - (uint16_t)board->track.tick) < QUICK_TICKS;
}

static bool run_is_old(const struct board *board)
{
    return (int32_t)(board->now - board->track.tick) > RUN_AGE_TICKS;
}

static uint8_t run_next(const struct edges *edges, const struct track *track)
{
    return (uint8_t)((edges->pins & PINS_ENDS) | track_pins_after(edges->pins, track->rightward));
}

/* Begins a run, or none. The interrupt must await no edge of a run. */
static void run_find(struct board *board)
{
    struct edges *edges = &board->drive.edges;
    const struct track *track = &board->track;
    uint8_t room = 0;
    ASSURE(edges->awaited == NO_PINS || board->drive.ready);
    if (board->pass.state == PASS_NONE && edges_are_quick(board) && !run_is_old(board))
        room = quiet_room(board);
    edges->room = room;
    edges->given = room;
    if (room == 0)
        return;
    edges->pins = track->pins & PINS_AT_EDGE;
    edges->tick = (uint16_t)track->tick;
    edges->shortest = UINT16_MAX;
}

uint8_t board_take_run(struct board *board)
{
    struct edges *edges = &board->drive.edges;
    uint8_t steps;
    uint8_t pins;
    uint16_t tick;
    uint16_t shortest;
    lock_state lock;
    if (edges->given == 0)
        return 0;
    lock = lock_take();
    steps = (uint8_t)(edges->given - edges->room);
    edges->given = edges->room;
    pins = edges->pins;
    tick = edges->tick;
    shortest = edges->shortest;
    edges->shortest = UINT16_MAX;
    lock_give(lock);
    track_run(&board->track, steps, pins, tick, shortest);
    return steps;
}

/* Once a millisecond, so that a run over a long bed need not end for want of room; but one that has become slow ends. */
static void run_renew(struct board *board)
{
    struct edges *edges = &board->drive.edges;
    bool slow = board_take_run(board) < RUN_STEPS_LEAST;
    uint8_t room;
    uint8_t steps;
    lock_state lock;
    if (edges->given == 0)
        return;
    if (edges->given > RUN_ROOM_LEAST && !slow && board->drive.resting == 0)
        return;
    room = slow ? 0 : quiet_room(board);
    lock = lock_take();
    steps = (uint8_t)(edges->given - edges->room);
    if (edges->room == 0 || room <= steps) {
        edges->awaited = NO_PINS;
        edges->given = steps;
        edges->room = 0;
    } else {
        edges->given = room;
        edges->room = (uint8_t)(room - steps);
    }
    lock_give(lock);
}

/* ---- the pass ------------------------------------------------------------------------------------------- */

/* Leaves with the edge interrupt what it puts out by itself if the next edge goes forward. */
static void prepare(struct board *board, int16_t q)
{
    struct pass *pass = &board->pass;
    uint16_t coming = select_coming(&pass->select, (int16_t)(q + 1), pass->finish_line);
    ASSURE(board->drive.edges.room == 0);
    drive_prepare(&board->drive, coming,
                  (uint8_t)((board->track.pins & ~PINS_AB) | track_pins_after(board->track.pins, pass->rightward)));
}

/* Called whenever something has changed that arming depends on. */
static void arm_or_not(struct board *board)
{
    struct pass *pass = &board->pass;
    int16_t q;
    if (pass->state == PASS_UNDER_WAY)
        return;
    if (board->fault.number != FAULT_NONE || !pass_fits(pass, &board->plan, &board->track)) {
        if (pass->state == PASS_ARMED)
            pass_abandon(board);
        return;
    }
    if (pass->state == PASS_NONE) {
        pass_arm(pass, &board->bed, &board->plan);
        run_end(board);
        outputs_show(board);
    }
    q = pass_along(pass, board->track.count);
    if (q == pass->start_line)
        prepare(board, q);
    else
        drive_forget(&board->drive);
}

static void pass_finish(struct board *board)
{
    pass_file(&board->pass, &board->bed, &board->plan, &board->track);
    board->due |= DUE_DONE;
    board->due_done = board->plan.done;
    pass_abandon(board);
    store_due(&board->store, board->plan.fingerprint, board->plan.run, board->plan.done);
}

/* An edge within a pass, the pass going on: the selectors, the needle that is met, what comes next. */
static void pass_follow(struct board *board, const struct pass_step *step, uint16_t over)
{
    struct pass *pass = &board->pass;
    struct drive *drive = &board->drive;
    struct standing standing;
    uint16_t coils = select_edge(&pass->select, step->q);
    standing.tick = board->track.tick;
    if (drive_put(drive, coils, standing.tick) && ticks(board) - standing.tick > LATE_TICKS) {
        act_on(board, wrong(FAULT_EDGES_TOO_FAST, 1));
        return;
    }
    standing.latched = drive_latched(drive);
    standing.resting = drive_resting(drive);
    standing.changed_at = drive->changed_at;
    select_revive(&pass->select, over, standing.latched);
    if (step->forward && act_on(board, select_drive(&pass->select, step->q, &standing, pass->driven)))
        return;
    prepare(board, step->q);
}

/* Back at its start line before any needle was met: as if it had not begun. */
static void pass_anew(struct board *board)
{
    struct pass *pass = &board->pass;
    coils_off(board);
    pass->state = PASS_ARMED;
    select_begin(&pass->select, &board->bed, &board->plan, plan_slot_seen(&board->plan, board->plan.done + 1));
    board->plan.paused = board->plan.pause_wanted;
    outputs_show(board);
    keep(board);
}

/* After a step to a certain place; `over` are the coils whose rest it ended. */
static void pass_step(struct board *board, int16_t from, uint16_t over)
{
    struct pass *pass = &board->pass;
    bool began = pass->state == PASS_ARMED;
    struct pass_step step = pass_edge(pass, &board->bed, &board->track, from);
    switch (step.event) {
    case PASS_GOES_ON:
        if (began) {
            outputs_show(board);
            keep(board);
        }
        pass_follow(board, &step, over);
        break;
    case PASS_AS_NEW:
        pass_anew(board);
        break;
    case PASS_DONE:
        pass_finish(board);
        break;
    case PASS_FAULT:
        act_on(board, step.verdict);
        break;
    default:
        if (board->fault.number == FAULT_NONE)
            act_on(board, pass_entered(pass, &board->plan, &board->track, from));
        break;
    }
}

/* ---- what happens --------------------------------------------------------------------------------------- */

void board_start(struct board *board, void *world, const struct notes *notes, struct kept *kept,
                 uint8_t reset_cause)
{
    memset(board, 0, sizeof *board);
    board->world = world;
    board->notes = notes;
    board->kept = kept;
    board->reset_cause = reset_cause;
    board->now = ticks(board);
    kept_start(kept, reset_cause);
    drive_start(&board->drive, world);
    track_start(&board->track, port_pins(world));
    store_start(&board->store, world);
}

static uint8_t watchfulness(const struct board *board)
{
    if (board->pass.state == PASS_UNDER_WAY)
        return WATCH_PLAN | WATCH_UNDER_WAY;
    return plan_in_force(&board->plan) ? WATCH_PLAN : 0;
}

static void take_edge(struct board *board, uint8_t pins, uint32_t tick)
{
    struct step step;
    uint16_t over = 0;
    if (board->drive.edges.given != 0)
        board_take_run(board);
    step = track_edge(&board->track, &board->bed, pins, tick, watchfulness(board));
    if (step.kind == STEP_NONE)
        return;
    if (step.kind != STEP_BROKEN && board->drive.resting != 0)
        over = drive_end_rests(&board->drive);
    if (!act_on(board, step.verdict) && step.kind != STEP_BROKEN) {
        if (step.kind == STEP_PLACED)
            pass_step(board, step.from, over);
        if (board->pass.state != PASS_UNDER_WAY)
            arm_or_not(board);
    }
    if (board->pass.state == PASS_NONE)
        run_find(board);
}

static void edges_lost(struct board *board)
{
    board_take_run(board);
    board->track.pins = track_pins(&board->track, port_pins(board->world));
    track_forget_edge(&board->track);
    if (bed_is_set(&board->bed))
        act_on(board, wrong(FAULT_EDGES_TOO_FAST, 0));
    run_find(board);
}

static void take_one_edge(struct board *board)
{
    struct edges *edges = &board->drive.edges;
    const struct notes *notes = board->notes;
    uint8_t at = edges->taken;
    uint8_t pins = notes_pins(notes, at);
    uint16_t tick = notes_tick(notes, at);
    uint32_t since = board->now - EDGE_AGE_TICKS;
    edges->taken = notes_after(at);
    take_edge(board, pins, since + (uint16_t)(tick - (uint16_t)since));
}

void board_edges(struct board *board)
{
    struct edges *edges = &board->drive.edges;
    if (!board->drive.ready && edges->awaited != NO_PINS)
        return; /* the interrupt is counting a run by itself: none waits */
    for (;;) {
        if (edges->room != 0 && edges_resume_run(edges, board->notes, run_next(edges, &board->track)))
            break;
        if (!edges_waiting(edges))
            break;
        take_one_edge(board);
    }
    if (edges->overrun) {
        edges->overrun = 0;
        edges_lost(board);
    }
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
    probe->supply_on = port_supply(board->world);
    probe->current_on = port_current(board->world);
    probe_end(board);
    board->due |= DUE_PROBED;
}

static void buzz(struct board *board)
{
    const struct plan *plan = &board->plan;
    bool under_way = board->pass.state == PASS_UNDER_WAY;
    bool hint = (under_way && board->drive.resting != 0) || (plan_goes_on(plan) && board->track.certain &&
                                                            !plan->paused && !under_way && !plan_coming_loaded(plan));
    bool sound = watch_sound(&board->watch, board->fault.number != FAULT_NONE, hint);
    if (sound != board->watch.buzzer) {
        board->watch.buzzer = sound;
        port_buzzer(board->world, sound);
    }
}

static void pause_beat(struct board *board)
{
    struct plan *plan = &board->plan;
    if (plan->pause_left_ms != 0)
        plan->pause_left_ms--;
    if (!plan->pause_wanted || plan->paused || plan->pause_left_ms != 0 || board->pass.state == PASS_UNDER_WAY)
        return;
    plan->paused = true;
    arm_or_not(board);
}

void board_beat(struct board *board)
{
    struct watch *watch = &board->watch;
    const struct bed *bed = &board->bed;
    board->now = ticks(board);
    run_renew(board);
    watch_beat(watch);
    probe_beat(board);
    if (bed_is_set(bed))
        act_on(board, track_beat(&board->track, bed, port_pins(board->world), plan_in_force(&board->plan)));
    pause_beat(board);
    watch->supply = port_supply(board->world);
    watch->current = port_current(board->world);
    act_on(board, watch_supply(watch, bed, board->drive.enabled));
    act_on(board, watch_current(watch, bed, board->drive.enabled));
    if (plan_in_force(&board->plan))
        act_on(board, watch_host(watch, bed));
    buzz(board);
    /* a rest has overwritten what was prepared */
    if (board->drive.disturbed && board->pass.state == PASS_UNDER_WAY)
        prepare(board, pass_along(&board->pass, board->track.count));
}

bool board_work(struct board *board)
{
    if (!store_ready(&board->store, board->pass.state == PASS_UNDER_WAY))
        return false;
    act_on(board, store_work(&board->store));
    return true;
}

/* ---- what the host says --------------------------------------------------------------------------------- */

void board_heard(struct board *board)
{
    board->watch.silent_ms = 0;
}

/* Edges that come while things change are noted and looked at afterwards. */
void board_ask(struct board *board)
{
    if (!board->drive.ready)
        board->drive.edges.awaited = NO_PINS;
    board_take_run(board);
}

void board_told(struct board *board)
{
    run_find(board);
    board_edges(board);
}

void board_arm(struct board *board)
{
    arm_or_not(board);
}

static void plan_end(struct board *board)
{
    probe_end(board);
    plan_clear(&board->plan);
    pass_abandon(board);
    board->track.turns = 0;
    board->due &= (uint16_t)~DUE_DONE;
}

void board_take_stop(struct board *board)
{
    plan_end(board);
    track_forget_edge(&board->track);
    kept_put(board->kept, 0, 0, 0, false);
}

bool board_take_bed(struct board *board, const uint8_t *fields)
{
    struct bed bed;
    bool planned = plan_in_force(&board->plan);
    if (!bed_read(&bed, fields))
        return false;
    board->due |= DUE_BED_TAKEN;
    if (bed_is_same(&board->bed, &bed))
        return true;
    plan_end(board);
    if (planned)
        kept_put(board->kept, 0, 0, 0, false);
    board->bed = bed;
    board->bed_check = bed_check_of(fields);
    track_set_bed(&board->track, &bed);
    drive_set_bed(&board->drive, &bed);
    return true;
}

bool board_take_plan(struct board *board, const uint8_t *fields)
{
    if (!plan_fits(&board->bed, fields))
        return false;
    plan_end(board);
    plan_begin(&board->plan, fields);
    track_stretch_begin(&board->track);
    keep(board);
    return true;
}

bool board_take_pass(struct board *board, const uint8_t *fields)
{
    return plan_take_pass(&board->plan, &board->bed, fields);
}

bool board_take_seen(struct board *board, const uint8_t *fields)
{
    if (!plan_take_seen(&board->plan, fields))
        return false;
    if (board->plan.seen >= board->due_done)
        board->due &= (uint16_t)~DUE_DONE;
    return true;
}

/* A hand that had set off as the pause was asked for has a second to knit its row. */
bool board_take_pause(struct board *board, uint8_t wanted)
{
    struct plan *plan = &board->plan;
    if (wanted > 1)
        return false;
    if (plan->pause_wanted == (wanted == 1))
        return true;
    plan->pause_wanted = wanted == 1;
    plan->paused = plan->pause_wanted && board->pass.state == PASS_NONE;
    plan->pause_left_ms = PAUSE_MS;
    outputs_show(board);
    return true;
}

bool board_take_clear(struct board *board, uint8_t fault)
{
    if (fault == FAULT_NONE || board->fault.number != fault)
        return false;
    board->fault.number = FAULT_NONE;
    board->due &= (uint16_t)~DUE_FAULT;
    return true;
}

bool board_take_probe(struct board *board, uint8_t selector, uint8_t time_ms)
{
    struct probe *probe = &board->probe;
    struct drive *drive = &board->drive;
    if (!bed_is_set(&board->bed) || plan_in_force(&board->plan) || board->fault.number != FAULT_NONE ||
        probe->left_ms != 0 || selector >= board->bed.count || time_ms == 0 || time_ms >= board->bed.limit_ms ||
        drive_budget(drive, selector) + time_ms * drive->up >= drive->full)
        return false;
    probe->selector = selector;
    probe->left_ms = time_ms;
    probe->supply_idle = port_supply(board->world);
    probe->current_idle = port_current(board->world);
    outputs_show(board);
    drive_put(drive, (uint16_t)(1u << selector), ticks(board));
    return true;
}
