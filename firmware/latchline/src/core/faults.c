/* Unsure means off: whatever goes wrong ends the pass under way and switches the coils off. */
#include "rooms.h"

static bool loses_position(uint8_t number)
{
    return (number >= FAULT_IMPOSSIBLE_STEP && number <= FAULT_BOTH_SENSORS) || number == FAULT_EDGES_TOO_FAST ||
           number == FAULT_OFF_THE_BED;
}

/* The first fault stands; a later one still switches off and may still lose the position. */
void fault_raise(struct board *board, enum fault_number number, uint8_t needle, uint16_t detail)
{
    struct fault *fault = &board->fault;
    if (fault->number == FAULT_NONE) {
        fault->number = (uint8_t)number;
        fault->needle = needle == NO_NEEDLE ? pass_needle(board) : needle;
        fault->fingerprint = board->plan.fingerprint;
        fault->pass = pass_number(board);
        fault->position = board->position.count;
        fault->detail = detail;
        fault->age_ms = 0;
        board->link.due |= DUE_FAULT;
    }
    probe_end(board);
    pass_abandon(board);
    if (loses_position((uint8_t)number))
        position_lose(board);
}

void fault_clear(struct board *board, uint8_t number)
{
    if (number == FAULT_NONE || board->fault.number != number)
        return;
    board->fault.number = FAULT_NONE;
    pass_arm_or_not(board);
}
