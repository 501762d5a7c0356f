/* Counters that stop at their highest value. */
#ifndef LATCHLINE_COUNT_H
#define LATCHLINE_COUNT_H

#include <stdint.h>

static inline void count_up(uint16_t *counter)
{
    if (*counter != UINT16_MAX)
        (*counter)++;
}

static inline void count_up_u8(uint8_t *counter)
{
    if (*counter != UINT8_MAX)
        (*counter)++;
}

#endif
