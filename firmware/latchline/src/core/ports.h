/* What the core needs of the world: functions that the port defines. docs/how-to/port-the-firmware.md tells what each must keep to. */
#ifndef LATCHLINE_PORTS_H
#define LATCHLINE_PORTS_H

#include <stdbool.h>
#include <stdint.h>

enum { PIN_A = 1, PIN_B = 2, PIN_LEFT = 4, PIN_RIGHT = 8, PIN_MIDDLE = 16 };
#define PINS_AB 3
#define PINS_ENDS 12
#define PINS_SENSORS 28
#define PINS_AT_EDGE 15 /* those that the edge interrupt compares; a middle sensor is seen by the main loop */
#define NO_PINS 0xFF

/* `world` is what was handed to board_start. */
void port_shift(void *world, uint16_t coils); /* into the register, where no coil sees it yet */
void port_latch(void *world);                 /* what was shifted appears at the coils */
void port_enable(void *world, bool on);
void port_lamp(void *world, bool on);
void port_buzzer(void *world, bool on);
uint8_t port_pins(void *world);
uint32_t port_ticks(void *world);
uint16_t port_supply(void *world);
uint16_t port_current(void *world);
uint32_t port_chance(void *world);
bool port_line_idle(void *world);
void port_send(void *world, const uint8_t *bytes, uint8_t length);
bool port_memory_busy(void *world);
uint8_t port_memory_read(void *world, uint16_t at);
void port_memory_write(void *world, uint16_t at, uint8_t byte); /* only begins it */

#endif
