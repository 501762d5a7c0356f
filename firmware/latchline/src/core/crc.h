/* CRC-16/IBM-3740: polynomial 1021, initial FFFF, not reflected; of "123456789" it is 29B1. */
#ifndef LATCHLINE_CRC_H
#define LATCHLINE_CRC_H

#include <stdint.h>

#define CRC_START 0xFFFFu

#if defined(__GNUC__)
#define IN_PLACE static inline __attribute__((always_inline))
#else
#define IN_PLACE static inline
#endif

uint16_t crc_over(uint16_t crc, const uint8_t *bytes, uint8_t length);

/* One byte without table or bit loop: the polynomial has so few terms that a byte's eight steps come
 * down to three shifts of (high byte ^ byte). */
IN_PLACE uint16_t crc_step(uint16_t crc, uint8_t byte)
{
    uint8_t mixed = (uint8_t)((uint8_t)(crc >> 8) ^ byte);
    uint8_t high;
    uint8_t low;
    mixed ^= (uint8_t)(mixed >> 4);
    high = (uint8_t)((uint8_t)crc ^ (uint8_t)(mixed << 4) ^ (uint8_t)(mixed >> 3));
    low = (uint8_t)(mixed ^ (uint8_t)(mixed << 5));
    return (uint16_t)((uint16_t)high << 8 | low);
}

#endif
