/* Every limit of the board in one place, with what holds it where it is. */
#ifndef LATCHLINE_LIMITS_H
#define LATCHLINE_LIMITS_H

#define PROTOCOL_VERSION 2
#define FIRMWARE_MAJOR 0
#define FIRMWARE_MINOR 2
#define FIRMWARE_PATCH 0

/* Passes held at once, each from its PASS to the host's SEEN. 36 bytes of RAM each; a power of two,
 * because a pass lives in slot (number - 1) mod SLOTS. */
#define SLOTS 16

#define NEEDLES_MAX 255 /* a needle is one byte on the wire, and 255 means none */
#define NO_NEEDLE 255
#define MASK_BYTES 32
#define SELECTORS_MAX 16 /* two power shift registers */

/* Positions are int16_t. With these and 64 x 16 edges of overrun allowed, no sum or difference of two
 * positions, a lead and a window leaves -32768..32767. */
#define EDGES_PER_NEEDLE_MAX 16
#define LEFT_SENSOR_MIN (-4096)
#define RIGHT_SENSOR_MAX 8191
#define LEAD_MAX 480
#define OFF_THE_BED_NEEDLES 64

#define LIMIT_MS_MIN 5
#define LIMIT_MS_MAX 2000

/* Sensors (docs/protocol.md section 5). Four edges are a period, which an encoder may lose in silence. */
#define TOLERANCE_MOST 3
#define HYSTERESIS_LEAST 8
#define SENSORS_MAX 3
#define BEATS_TO_JUDGE 10

/* The encoder */
#define REVERSALS_MOST 8
#define BOUNCE_TICKS 50
#define TRAIL_EDGES 6
#define PERIOD_EDGES 5 /* those that a period lies between */
#define GAP 3
#define HALT 14
#define TURN 6
#define QUICK_TICKS 32 /* 128 us: edges no closer than this are taken one by one, so that their times are seen */

/* Budgets (section 8): sixteenths of a tick. */
#define BEAT_TICKS 250
#define SIXTEENTHS 16
#define DUTY_USUAL 8

#define PAUSE_MS 1000
#define PLANS_LINE INT16_MIN /* a line of a PASS that is the plan's own */

#define NOTES 64 /* edges that may wait for the main loop */
#define NOTE_BYTES 3

#define PAYLOAD_MAX 46            /* PASS, the longest message */
#define FRAME_MAX (PAYLOAD_MAX + 4) /* stuffing code, payload, three check bytes; without the closing zero */

#define LATE_TICKS 125 /* 0.5 ms from edge to output, for an output that could not be prepared */
#define STOP_TICKS 25000
#define INTERVAL_MAX 65535u
#define EDGE_AGE_TICKS 16384 /* 65 ms: so far may an edge lie before the newest beat, and three times as far behind it */
#define RUN_AGE_TICKS 40000 /* 160 ms: far enough below the 65,536 that sixteen bits can tell apart */

#define RUN_ROOM_LEAST 144     /* edges for a millisecond, at more than 100,000 a second */
#define RUN_STEPS_LEAST 4      /* in a millisecond; fewer are no closer than QUICK_TICKS */

#define STATUS_CHANGED_MS 20
#define STATUS_MS 250
#define HOST_ASLEEP_MS 2000
#define DONE_AGAIN_MS 200
#define FAULT_AGAIN_MS 1000

#define SUPPLY_LOW_READINGS 10
#define CURRENT_HIGH_READINGS 3

#define MEMORY_BYTES 1024
#define CHECKPOINT_SLOTS 60
#define CHECKPOINT_BYTES 16
#define IDENTITY_BYTES 12
#define IDENTITY_AT 960

#if SLOTS < 16 || SLOTS > 128 || (SLOTS & (SLOTS - 1)) != 0
#error "SLOTS must be 16, 32, 64 or 128"
#endif
#if NOTES * NOTE_BYTES > 255
#error "a place among the notes must fit a byte"
#endif
#if MASK_BYTES * 8 <= NEEDLES_MAX
#error "a mask must have a bit for every needle"
#endif
#if SELECTORS_MAX > 16
#error "coils are the bits of a uint16_t"
#endif
#if PAYLOAD_MAX > 253
#error "a payload must be stuffed with a single code at a time"
#endif
#if RIGHT_SENSOR_MAX + OFF_THE_BED_NEEDLES * EDGES_PER_NEEDLE_MAX + LEAD_MAX + 2 * 255 + 1 > 32767
#error "positions must fit int16_t at the right"
#endif
#if -LEFT_SENSOR_MIN + OFF_THE_BED_NEEDLES * EDGES_PER_NEEDLE_MAX + LEAD_MAX + 2 * 255 + 1 > 32767
#error "positions must fit int16_t at the left"
#endif
#if 2L * LIMIT_MS_MAX * BEAT_TICKS * SIXTEENTHS > 100000000L
#error "a budget and four times it must fit int32_t"
#endif
#if CHECKPOINT_SLOTS * CHECKPOINT_BYTES > IDENTITY_AT || IDENTITY_AT + IDENTITY_BYTES > MEMORY_BYTES
#error "checkpoints and identity must fit the memory"
#endif

#endif
