#include "bed.h"

#include <string.h>

#include "bytes.h"
#include "crc.h"

static bool lead_fits(int16_t lead)
{
    return lead >= -LEAD_MAX && lead <= LEAD_MAX;
}

static bool places_fit(const struct bed *bed)
{
    return bed->needles >= 2 && bed->needles <= NEEDLES_MAX && bed->edges_per_needle >= 1 &&
           bed->edges_per_needle <= EDGES_PER_NEEDLE_MAX && bed->left_sensor < 0 &&
           bed->left_sensor >= LEFT_SENSOR_MIN && bed->right_sensor <= RIGHT_SENSOR_MAX &&
           bed->right_sensor > (int16_t)((bed->needles - 1) * bed->edges_per_needle) &&
           lead_fits(bed->lead_leftward) && lead_fits(bed->lead_rightward);
}

static bool selectors_fit(const struct bed *bed)
{
    return bed->count >= 1 && bed->count <= (bed->bank ? SELECTORS_MAX : 2) && bed->advance >= 1 &&
           bed->advance_max >= 1 && bed->hold >= 1 &&
           (uint16_t)(bed->advance_max + bed->hold) <= bed_room(bed) && bed->limit_ms >= LIMIT_MS_MIN &&
           bed->limit_ms <= LIMIT_MS_MAX && bed->duty < SIXTEENTHS;
}

static bool middle_fits(const struct bed *bed)
{
    return !bed_has_middle(bed) || (bed->left_sensor < bed->middle_left && bed->middle_right < bed->right_sensor &&
                                    bed->middle_left + 3 <= bed->middle_right);
}

/* A little more than a row with every needle selected takes. */
static uint8_t usual_duty(const struct bed *bed)
{
    uint16_t room = bed_room(bed);
    uint16_t on = (uint16_t)(bed->advance_max + bed->hold);
    uint8_t needed = (uint8_t)((SIXTEENTHS * on + room - 1) / room + 1);
    if (needed < DUTY_USUAL)
        return DUTY_USUAL;
    return needed < SIXTEENTHS ? needed : SIXTEENTHS - 1;
}

bool bed_read(struct bed *bed, const uint8_t *fields)
{
    memset(bed, 0, sizeof *bed); /* padding too, for bed_is_same */
    bed->needles = get_u16(fields);
    bed->edges_per_needle = fields[2];
    bed->left_sensor = get_i16(fields + 3);
    bed->right_sensor = get_i16(fields + 5);
    bed->tolerance = fields[7];
    bed->backing = get_u16(fields + 8);
    bed->bank = fields[10] == 1;
    bed->count = fields[11];
    bed->lead_leftward = get_i16(fields + 12);
    bed->lead_rightward = get_i16(fields + 14);
    bed->advance = get_u16(fields + 16);
    bed->advance_max = fields[18];
    bed->hold = fields[19];
    bed->limit_ms = get_u16(fields + 20);
    bed->active_low = fields[22] == 1;
    bed->patience_ms = get_u16(fields + 23);
    bed->supply_min = get_u16(fields + 25);
    bed->current_max = get_u16(fields + 27);
    bed->duty = fields[29];
    bed->brisk = get_u16(fields + 30);
    bed->passing = fields[32] == 1;
    bed->middle_left = get_i16(fields + 33);
    bed->middle_right = get_i16(fields + 35);
    if (fields[10] > 1 || fields[22] > 1 || fields[32] > 1 || !places_fit(bed) || !selectors_fit(bed) ||
        !middle_fits(bed))
        return false;
    if (bed->duty == 0)
        bed->duty = usual_duty(bed);
    return true;
}

uint16_t bed_check_of(const uint8_t *fields)
{
    return crc_over(CRC_START, fields, BED_FIELDS);
}

bool bed_is_same(const struct bed *one, const struct bed *other)
{
    return memcmp(one, other, sizeof *one) == 0;
}
