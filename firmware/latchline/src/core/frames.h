/* Frames: COBS, a check over the stuffed bytes, a closing zero (docs/protocol.md section 2). */
#ifndef LATCHLINE_FRAMES_H
#define LATCHLINE_FRAMES_H

#include <stdbool.h>
#include <stdint.h>

#include "limits.h"

/* Gathers one frame. Check and unstuffing are kept up three bytes behind, so that a byte costs the same wherever
 * it stands and the closing zero finds all ready. What is unstuffed takes the place of what has been read. */
struct receiver {
    uint8_t length; /* bytes heard */
    uint8_t out;    /* bytes of the payload so far */
    uint8_t left;   /* bytes to the next stuffing code */
    bool too_long;
    uint16_t crc;
    uint8_t bytes[FRAME_MAX];
};

enum { FRAME_NONE = 0, FRAME_BAD = -1 };

void receiver_start(struct receiver *receiver);

/* Takes bytes up to the end of a frame; how many replaces `count`. FRAME_NONE, FRAME_BAD, or the length of the payload
 * that now lies at the start of the receiver's `bytes`. */
int8_t receiver_bytes(struct receiver *receiver, const uint8_t *bytes, uint8_t *count);

/* A frame being built for sending, in steps, because the whole of it would keep the edges of a fast
 * carriage waiting: the payload goes to bytes + 1, is stuffed where it stands, and is checked a few bytes a call. */
struct sender {
    uint8_t length;  /* with the stuffing code; 0 while there is no frame */
    bool stuffed;
    uint8_t checked; /* bytes that the check has seen */
    uint16_t crc;
    uint8_t bytes[FRAME_MAX + 1];
};

void sender_begin(struct sender *sender, uint8_t payload_length);
void sender_stuff(struct sender *sender);

/* True when the frame is whole; its length is then `length`. */
bool sender_check(struct sender *sender);

#endif
