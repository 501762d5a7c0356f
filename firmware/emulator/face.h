/* The face that the native core and the emulated chip show to Python through ctypes: that of
 * host/latchline/sim/face.py in C. Times are microseconds since the world began and never go back. */
#ifndef LATCHLINE_FACE_H
#define LATCHLINE_FACE_H

#include <stddef.h>
#include <stdint.h>

#define BYTE_US 40

/* Converter counts: supply in the low half, current in the high half. */
typedef uint32_t (*face_analog)(uint16_t coils, uint8_t enabled);

enum { SIGNAL_ENABLED = 1, SIGNAL_LAMP = 2, SIGNAL_BUZZER = 4 };

void *face_new(const char *image, uint32_t chance, face_analog analog);
void face_free(void *face);
void face_power(void *face, int64_t at_us, uint8_t cause);
void face_run(void *face, int64_t until_us);
void face_edges(void *face, size_t count, const int64_t *at_us, const uint8_t *pins);
void face_receive(void *face, int64_t at_us, size_t count, const uint8_t *bytes);

/* Copies what was logged since the last call and forgets it; the arrays must hold face_*_count rows. */
size_t face_sent_count(void *face);
void face_sent(void *face, int64_t *at_us, uint8_t *bytes);
size_t face_signals_count(void *face);
void face_signals(void *face, int64_t *at_us, uint16_t *coils, uint8_t *bits);

uint8_t *face_memory(void *face);

#endif
