#include "frames.h"

#include "crc.h"

#define CHECK_BYTES 3
#define CHECKED_A_CALL 8

void receiver_start(struct receiver *receiver)
{
    receiver->length = 0;
    receiver->too_long = false;
    receiver->crc = CRC_START;
}

static bool check_fits(const uint8_t *check, uint16_t crc)
{
    return check[0] == (uint8_t)(0x80 | crc >> 14) && check[1] == (uint8_t)(0x80 | (crc >> 7 & 0x7F)) &&
           check[2] == (uint8_t)(0x80 | (crc & 0x7F));
}

/* In place: what is read always lies ahead of what is written. There are no zeros within a frame. */
static int8_t unstuff(uint8_t *bytes, uint8_t length)
{
    uint8_t in = 0;
    uint8_t out = 0;
    while (in < length) {
        uint8_t left = (uint8_t)(bytes[in] - 1);
        in++;
        if (left > (uint8_t)(length - in))
            return FRAME_BAD;
        for (; left != 0; left--)
            bytes[out++] = bytes[in++];
        if (in < length)
            bytes[out++] = 0;
    }
    return out == 0 ? FRAME_BAD : (int8_t)out;
}

static int8_t finish(struct receiver *receiver)
{
    uint8_t length = receiver->length;
    if (receiver->too_long)
        return FRAME_BAD;
    if (length == 0)
        return FRAME_NONE;
    if (length <= CHECK_BYTES)
        return FRAME_BAD;
    length = (uint8_t)(length - CHECK_BYTES);
    if (!check_fits(receiver->bytes + length, receiver->crc))
        return FRAME_BAD;
    return unstuff(receiver->bytes, length);
}

int8_t receiver_byte(struct receiver *receiver, uint8_t byte)
{
    uint8_t length = receiver->length;
    int8_t result;
    if (byte != 0) {
        if (length >= FRAME_MAX) {
            receiver->too_long = true;
            return FRAME_NONE;
        }
        receiver->bytes[length] = byte;
        receiver->length = (uint8_t)(length + 1);
        if (length >= CHECK_BYTES)
            receiver->crc = crc_step(receiver->crc, receiver->bytes[length - CHECK_BYTES]);
        return FRAME_NONE;
    }
    result = finish(receiver);
    receiver_start(receiver);
    return result;
}

void sender_begin(struct sender *sender, uint8_t payload_length)
{
    sender->length = (uint8_t)(payload_length + 1);
    sender->stuffed = false;
    sender->checked = 0;
    sender->crc = CRC_START;
}

/* Every zero becomes the distance to the next one, and the byte before the payload that to the first. */
void sender_stuff(struct sender *sender)
{
    uint8_t distance = 1;
    uint8_t *at = sender->bytes + sender->length;
    while (--at != sender->bytes) {
        if (*at == 0) {
            *at = distance;
            distance = 1;
        } else {
            distance++;
        }
    }
    *at = distance;
    sender->stuffed = true;
}

bool sender_check(struct sender *sender)
{
    uint8_t last = sender->length;
    uint8_t *out = sender->bytes + last;
    uint16_t crc = sender->crc;
    if (last - sender->checked > CHECKED_A_CALL)
        last = (uint8_t)(sender->checked + CHECKED_A_CALL);
    for (; sender->checked < last; sender->checked++)
        crc = crc_step(crc, sender->bytes[sender->checked]);
    sender->crc = crc;
    if (last < sender->length)
        return false;
    *out++ = (uint8_t)(0x80 | crc >> 14);
    *out++ = (uint8_t)(0x80 | (crc >> 7 & 0x7F));
    *out++ = (uint8_t)(0x80 | (crc & 0x7F));
    *out = 0;
    sender->length = (uint8_t)(sender->length + CHECK_BYTES + 1);
    return true;
}
