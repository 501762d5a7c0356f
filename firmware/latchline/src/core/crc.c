#include "crc.h"

uint16_t crc_over(uint16_t crc, const uint8_t *bytes, uint8_t length)
{
    for (; length != 0; length--)
        crc = crc_step(crc, *bytes++);
    return crc;
}
