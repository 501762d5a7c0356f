#include "coils.h"

bool coils_beat(struct coils *coils, void (*hold)(void), void (*release)(void))
{
    uint16_t on;
    uint16_t due = 0;
    uint16_t bit = 1;
    uint8_t coil;
    hold();
    on = coils->latched;
    release();
    for (coil = 0; coil < SELECTORS_MAX; coil++) {
        if ((on & bit) == 0) {
            coils->on_ms[coil] = 0;
        } else if (++coils->on_ms[coil] >= coils->limit_ms) {
            due |= bit;
            coils->on_ms[coil] = 0;
        }
        bit = (uint16_t)(bit << 1);
    }
    if (due == 0)
        return false;
    hold();
    coils->rested |= due;
    coils->latched &= (uint16_t)~due;
    for (; due != 0; due &= (uint16_t)(due - 1)) {
        if (coils->rests != UINT16_MAX)
            coils->rests++;
    }
    return true; /* still held: the caller puts the register out, then releases */
}
