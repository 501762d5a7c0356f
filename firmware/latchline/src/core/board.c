#include "rooms.h"

#include <string.h>

void board_start(struct board *board, const struct ports *ports, uint8_t reset_cause)
{
    memset(board, 0, sizeof *board);
    board->ports = ports;
    board->reset_cause = reset_cause;
    board->coils.expect = NO_PINS;
    board->coils.limit_ms = LIMIT_MS_MIN;
    board->counts.shortest = UINT16_MAX;
    board->run.shortest = UINT16_MAX;
    board->run.next = NO_PINS;
    board->position.pins = ports->pins(ports->world);
    position_forget_edge(&board->position);
    checkpoint_start(board);
    link_start(board);
}

bool board_work(struct board *board)
{
    bool more = checkpoint_work(board);
    return link_work(board) || more;
}
