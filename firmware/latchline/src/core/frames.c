#include "frames.h"

#include "crc.h"

#define CHECK_BYTES 3
#define CHECKED_A_CALL 8

void receiver_start(struct receiver *receiver)
{
    receiver->length = 0;
    receiver->out = 0;
    receiver->left = 0;
    receiver->too_long = false;
    receiver->crc = CRC_START;
}

static bool check_fits(const uint8_t *check, uint16_t crc)
{
    return check[0] == (uint8_t)(0x80 | crc >> 14) && check[1] == (uint8_t)(0x80 | (crc >> 7 & 0x7F)) &&
           check[2] == (uint8_t)(0x80 | (crc & 0x7F));
}

static int8_t finish(const struct receiver *receiver)
{
    if (receiver->length == 0 && !receiver->too_long)
        return FRAME_NONE;
    if (receiver->too_long || receiver->left != 0 || receiver->out == 0 ||
        !check_fits(receiver->bytes + receiver->length - CHECK_BYTES, receiver->crc))
        return FRAME_BAD;
    return (int8_t)receiver->out;
}

int8_t receiver_bytes(struct receiver *receiver, const uint8_t *bytes, uint8_t *count)
{
    const uint8_t *end = bytes + *count;
    const uint8_t *at = bytes;
    uint8_t length = receiver->length;
    uint8_t left = receiver->left;
    uint16_t crc = receiver->crc;
    uint8_t *out = receiver->bytes + receiver->out;
    bool ended = false;
    int8_t result;
    while (at != end) {
        uint8_t byte = *at++;
        uint8_t *in = receiver->bytes + length;
        if (byte == 0) {
            ended = true;
            break;
        }
        if (length == FRAME_MAX) {
            receiver->too_long = true;
            continue;
        }
        *in = byte;
        length++;
        if (length <= CHECK_BYTES)
            continue;
        byte = *(in - CHECK_BYTES);
        crc = crc_step(crc, byte);
        if (left != 0) {
            left--;
            *out++ = byte;
        } else { /* a code, which says how many bytes follow to the next one */
            left = (uint8_t)(byte - 1);
            if (length != CHECK_BYTES + 1)
                *out++ = 0; /* the first one stands for no zero */
        }
    }
    receiver->length = length;
    receiver->left = left;
    receiver->crc = crc;
    receiver->out = (uint8_t)(out - receiver->bytes);
    *count = (uint8_t)(at - bytes);
    if (!ended)
        return FRAME_NONE;
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
    uint8_t left = (uint8_t)(sender->length - sender->checked);
    uint8_t now = left > CHECKED_A_CALL ? CHECKED_A_CALL : left;
    uint8_t *out = sender->bytes + sender->length;
    uint16_t crc = crc_over(sender->crc, sender->bytes + sender->checked, now);
    sender->crc = crc;
    sender->checked = (uint8_t)(sender->checked + now);
    if (now < left)
        return false;
    *out++ = (uint8_t)(0x80 | crc >> 14);
    *out++ = (uint8_t)(0x80 | (crc >> 7 & 0x7F));
    *out++ = (uint8_t)(0x80 | (crc & 0x7F));
    *out = 0;
    sender->length = (uint8_t)(sender->length + CHECK_BYTES + 1);
    return true;
}
