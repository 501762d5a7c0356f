/* The chip's own image under simavr, in virtual time, with the face of face.h. Test-only.
 *
 * Copyright (C) 2026 the Latchline contributors
 *
 * This program links simavr, which is free software under the GNU General Public License version 3;
 * so this file, and the shared library that it becomes, are too: you can redistribute it and/or modify
 * it under the terms of the GNU General Public License as published by the Free Software Foundation,
 * either version 3 of the License, or (at your option) any later version. It comes WITHOUT ANY
 * WARRANTY; see <https://www.gnu.org/licenses/> for details. Nothing that is installed or flashed
 * contains it.
 *
 * Models of its own stand in where simavr 1.6 is too kind or wrong: USART (two-byte receive buffer,
 * overrun flag, ten bits a byte), SPI (time by its clock divider), EEPROM (3.4 ms a byte, torn by a power
 * cut), four cycles of interrupt entry, sleep in virtual time.
 */
#include <simavr/avr_adc.h>
#include <simavr/avr_extint.h>
#include <simavr/avr_ioport.h>
#include <simavr/sim_avr.h>
#include <simavr/sim_elf.h>
#include <simavr/sim_interrupts.h>
#include <simavr/sim_io.h>
#include <stdbool.h>
#include <stdio.h>

#include "face_log.h"

#define CYCLES_A_US 16
#define BYTE_CYCLES (BYTE_US * CYCLES_A_US)
#define MEMORY_BYTES 1024
#define MEMORY_BYTE_CYCLES 54400 /* 3.4 ms, ATmega328P data sheet (memory) */
#define ENTRY_CYCLES 4

/* Data addresses and bits, ATmega328P data sheet. */
enum {
    AT_EIFR = 0x3C, AT_EECR = 0x3F, AT_EEDR = 0x40, AT_EEARL = 0x41, AT_EEARH = 0x42, AT_SPCR = 0x4C, AT_SPSR = 0x4D,
    AT_SPDR = 0x4E, AT_MCUSR = 0x54, AT_UCSR0A = 0xC0, AT_UCSR0B = 0xC1, AT_UCSR0C = 0xC2, AT_UBRR0L = 0xC4,
    AT_UBRR0H = 0xC5, AT_UDR0 = 0xC6, AT_DDRB = 0x24
};
enum { EERE = 1, EEPE = 2, EEMPE = 4 };
enum { RXCIE = 0x80, UDRIE = 0x20, RXEN = 0x10, TXEN = 0x08, RXC = 0x80, UDRE = 0x20, DOR = 0x08 };
enum { SPIF = 0x80 };
enum { VECTOR_RX = 18, VECTOR_UDRE = 19, VECTORS = 26 };
enum { PIN_DISABLE = 0, PIN_MIDDLE = 1, PIN_LATCH = 2, PIN_LAMP = 6, PIN_BUZZER = 7 };

struct latch_row {
    uint64_t cycle;
    uint16_t coils;
};

struct usart {
    uint8_t heard[2];
    uint8_t heard_count;
    bool overrun;
    bool sending, full;
    uint8_t shift, next;
};

struct chip {
    avr_t *avr;
    elf_firmware_t firmware;
    avr_int_vector_t *vectors[VECTORS];
    avr_irq_t *pins[4];
    struct face_log log;
    struct heard heard;
    face_analog analog;
    int64_t power_us;
    uint64_t power_cycle;
    int64_t now_us;
    bool powered;
    bool was_reset;
    void (*mcu_reset)(struct avr_t *avr);
    uint8_t levels; /* A, B, left, right, middle */
    /* outputs */
    uint8_t port_b, port_d;
    uint16_t shifted, coils;
    uint64_t shift_done;
    bool shift_flag;
    struct latch_row *latches;
    size_t latches_count, latches_room;
    uint32_t collisions; /* latched or written while still shifting */
    uint32_t watchdog_resets;
    struct usart usart;
    uint32_t overruns;
    /* memory */
    uint8_t memory[MEMORY_BYTES];
    uint16_t burn_at;
    uint8_t burn_byte, torn;
    bool burning;
    uint64_t enabled_until; /* EEMPE */
    uint32_t burned;
    uint16_t patched[8];
    size_t patched_count;
    uint32_t patched_at[8];
};

static int64_t us_at(const struct chip *chip, uint64_t cycle)
{
    return chip->power_us + (int64_t)((cycle - chip->power_cycle) / CYCLES_A_US);
}

static uint64_t cycle_at(const struct chip *chip, int64_t us)
{
    return chip->power_cycle + (uint64_t)(us - chip->power_us) * CYCLES_A_US;
}

static void quiet(avr_t *avr, const int level, const char *format, va_list arguments)
{
    (void)avr;
    if (level == LOG_ERROR)
        vfprintf(stderr, format, arguments);
}

static void no_sleep(avr_t *avr, avr_cycle_count_t cycles)
{
    (void)avr;
    (void)cycles;
}

/* ---- outputs ---------------------------------------------------------------------------------- */

static void show(struct chip *chip)
{
    uint8_t bits = 0;
    bool driven = (chip->avr->data[AT_DDRB] >> PIN_DISABLE & 1) != 0; /* else the resistor pulls it high */
    if (driven && (chip->port_b >> PIN_DISABLE & 1) == 0)
        bits |= SIGNAL_ENABLED;
    if ((chip->port_d >> PIN_LAMP & 1) != 0)
        bits |= SIGNAL_LAMP;
    if ((chip->port_d >> PIN_BUZZER & 1) != 0)
        bits |= SIGNAL_BUZZER;
    log_signals(&chip->log, us_at(chip, chip->avr->cycle), chip->coils, bits);
}

static void port_b_written(struct avr_irq_t *irq, uint32_t value, void *of)
{
    struct chip *chip = of;
    bool rising = (value >> PIN_LATCH & 1) != 0 && (chip->port_b >> PIN_LATCH & 1) == 0;
    (void)irq;
    chip->port_b = (uint8_t)value;
    if (rising) {
        if (chip->avr->cycle < chip->shift_done)
            chip->collisions++;
        chip->coils = chip->shifted;
        chip->latches = grown(chip->latches, chip->latches_count, &chip->latches_room, sizeof *chip->latches);
        chip->latches[chip->latches_count].cycle = chip->avr->cycle;
        chip->latches[chip->latches_count++].coils = chip->coils;
    }
    show(chip);
}

static void port_d_written(struct avr_irq_t *irq, uint32_t value, void *of)
{
    struct chip *chip = of;
    (void)irq;
    chip->port_d = (uint8_t)value;
    show(chip);
}

static void spdr_written(struct avr_t *avr, avr_io_addr_t at, uint8_t value, void *of)
{
    static const uint8_t dividers[4] = {4, 16, 64, 128};
    struct chip *chip = of;
    unsigned divider = dividers[avr->data[AT_SPCR] & 3];
    avr->data[at] = value;
    if ((avr->data[AT_SPSR] & 1) != 0)
        divider /= 2;
    if (avr->cycle < chip->shift_done)
        chip->collisions++;
    chip->shifted = (uint16_t)(chip->shifted << 8 | value);
    chip->shift_done = avr->cycle + 8 * divider;
}

static uint8_t spsr_read(struct avr_t *avr, avr_io_addr_t at, void *of)
{
    struct chip *chip = of;
    uint8_t speed = avr->data[at] & 1;
    return (uint8_t)(speed | (avr->cycle >= chip->shift_done ? SPIF : 0));
}

static void plain_write(struct avr_t *avr, avr_io_addr_t at, uint8_t value, void *of)
{
    (void)of;
    avr->data[at] = value;
}

/* ---- USART ------------------------------------------------------------------------------------ */

static void raise_vector(struct chip *chip, int vector)
{
    avr_raise_interrupt(chip->avr, chip->vectors[vector]);
}

static void usart_look(struct chip *chip)
{
    uint8_t control = chip->avr->data[AT_UCSR0B];
    if (chip->usart.heard_count != 0 && (control & RXCIE) != 0)
        raise_vector(chip, VECTOR_RX);
    if (!chip->usart.full && (control & UDRIE) != 0 && (control & TXEN) != 0)
        raise_vector(chip, VECTOR_UDRE);
}

static avr_cycle_count_t byte_sent(struct avr_t *avr, avr_cycle_count_t when, void *of)
{
    struct chip *chip = of;
    struct usart *usart = &chip->usart;
    (void)avr;
    log_sent(&chip->log, us_at(chip, when), usart->shift);
    usart->sending = usart->full;
    usart->shift = usart->next;
    usart->full = false;
    usart_look(chip);
    return usart->sending ? when + BYTE_CYCLES : 0;
}

static void udr_written(struct avr_t *avr, avr_io_addr_t at, uint8_t value, void *of)
{
    struct chip *chip = of;
    struct usart *usart = &chip->usart;
    (void)at;
    if ((avr->data[AT_UCSR0B] & TXEN) == 0)
        return;
    if (!usart->sending) {
        usart->sending = true;
        usart->shift = value;
        avr_cycle_timer_register(avr, BYTE_CYCLES, byte_sent, chip);
        usart_look(chip);
    } else {
        usart->next = value;
        usart->full = true;
        avr_clear_interrupt(avr, chip->vectors[VECTOR_UDRE]);
    }
}

static uint8_t udr_read(struct avr_t *avr, avr_io_addr_t at, void *of)
{
    struct chip *chip = of;
    struct usart *usart = &chip->usart;
    uint8_t byte = usart->heard[0];
    (void)at;
    usart->overrun = false;
    if (usart->heard_count != 0) {
        usart->heard[0] = usart->heard[1];
        usart->heard_count--;
    }
    if (usart->heard_count == 0)
        avr_clear_interrupt(avr, chip->vectors[VECTOR_RX]);
    usart_look(chip);
    return byte;
}

static uint8_t status_read(struct avr_t *avr, avr_io_addr_t at, void *of)
{
    struct chip *chip = of;
    const struct usart *usart = &chip->usart;
    uint8_t status = avr->data[at] & 2; /* double speed */
    if (usart->heard_count != 0)
        status |= RXC;
    if (!usart->full)
        status |= UDRE;
    if (usart->overrun)
        status |= DOR;
    return status;
}

static void control_written(struct avr_t *avr, avr_io_addr_t at, uint8_t value, void *of)
{
    struct chip *chip = of;
    avr->data[at] = value;
    if ((value & UDRIE) == 0)
        avr_clear_interrupt(avr, chip->vectors[VECTOR_UDRE]);
    usart_look(chip);
}

/* A level interrupt: what is still waiting raises it again as soon as its handler has ended. */
static void usart_served(struct avr_irq_t *irq, uint32_t running, void *of)
{
    (void)irq;
    if (!running)
        usart_look(of);
}

static bool baud_rate_fits(const avr_t *avr)
{
    unsigned divider = (avr->data[AT_UCSR0A] & 2) != 0 ? 8 : 16;
    unsigned setting = avr->data[AT_UBRR0L] | (unsigned)(avr->data[AT_UBRR0H] & 15) << 8;
    return divider * (setting + 1) == 64;
}

static avr_cycle_count_t byte_heard(struct avr_t *avr, avr_cycle_count_t when, void *of)
{
    struct chip *chip = of;
    struct usart *usart = &chip->usart;
    while (chip->heard.count != 0 && cycle_at(chip, chip->heard.bytes[chip->heard.first].at_us) <= when) {
        uint8_t byte = heard_take(&chip->heard);
        if ((avr->data[AT_UCSR0B] & RXEN) == 0 || !baud_rate_fits(avr))
            continue;
        if (usart->heard_count == 2) {
            usart->overrun = true;
            chip->overruns++;
            continue;
        }
        usart->heard[usart->heard_count++] = byte;
        usart_look(chip);
    }
    return chip->heard.count == 0 ? 0 : cycle_at(chip, chip->heard.bytes[chip->heard.first].at_us);
}

static void hear_next(struct chip *chip)
{
    uint64_t at;
    avr_cycle_timer_cancel(chip->avr, byte_heard, chip);
    if (chip->heard.count == 0)
        return;
    at = cycle_at(chip, chip->heard.bytes[chip->heard.first].at_us);
    avr_cycle_timer_register(chip->avr, at > chip->avr->cycle ? at - chip->avr->cycle : 1, byte_heard, chip);
}

/* ---- memory ----------------------------------------------------------------------------------- */

static avr_cycle_count_t byte_burned(struct avr_t *avr, avr_cycle_count_t when, void *of)
{
    struct chip *chip = of;
    (void)when;
    chip->memory[chip->burn_at] = chip->burn_byte;
    chip->burning = false;
    avr->data[AT_EECR] &= (uint8_t)~(EEPE | EEMPE);
    return 0;
}

static void memory_control(struct avr_t *avr, avr_io_addr_t at, uint8_t value, void *of)
{
    struct chip *chip = of;
    uint16_t address = (uint16_t)((avr->data[AT_EEARL] | avr->data[AT_EEARH] << 8) & (MEMORY_BYTES - 1));
    bool begins = (value & EEPE) != 0 && !chip->burning && avr->cycle <= chip->enabled_until;
    if ((value & EEMPE) != 0 && !begins)
        chip->enabled_until = avr->cycle + 4 + 2;
    if ((value & EERE) != 0 && !chip->burning) {
        avr->data[AT_EEDR] = chip->memory[address];
        avr->cycle += 4;
    }
    if (begins) {
        chip->burning = true;
        chip->burned++;
        chip->burn_at = address;
        chip->burn_byte = avr->data[AT_EEDR];
        avr->cycle += 2;
        avr_cycle_timer_register(avr, MEMORY_BYTE_CYCLES, byte_burned, chip);
    }
    avr->data[at] = (uint8_t)((value & ~(EERE | EEPE)) | (chip->burning ? EEPE : 0));
}

/* ---- pins, converter, interrupts ---------------------------------------------------------------- */

static void put_levels(struct chip *chip, uint8_t levels)
{
    avr_ioport_external_t external = {.name = 'D', .mask = 0x3C, .value = (unsigned char)(levels << 2)};
    uint8_t changed = (uint8_t)(levels ^ chip->levels);
    chip->levels = levels;
    avr_ioport_external_t middle = {.name = 'B', .mask = 1 << PIN_MIDDLE, .value = (unsigned char)((levels >> 4 & 1) << PIN_MIDDLE)};
    avr_ioctl(chip->avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('D'), &external);
    if ((changed >> 4 & 1) != 0) {
        avr_ioctl(chip->avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('B'), &middle);
        avr_raise_irq(avr_io_getirq(chip->avr, AVR_IOCTL_IOPORT_GETIRQ('B'), PIN_MIDDLE), levels >> 4 & 1);
    }
    /* sensors first: the edge that the interrupt sees must find them as they are now */
    for (int pin = 3; pin >= 0; pin--) {
        if ((changed >> pin & 1) != 0)
            avr_raise_irq(chip->pins[pin], levels >> pin & 1);
    }
}

static void converter_asks(struct avr_irq_t *irq, uint32_t value, void *of)
{
    struct chip *chip = of;
    uint32_t channel = value >> 19; /* avr_adc_mux_t: kind 3 bits, gain 8, diff 8, src 13 */
    uint32_t counts = 711;
    (void)irq;
    if (chip->analog != NULL)
        counts = chip->analog(chip->coils, (chip->log.bits & SIGNAL_ENABLED) != 0);
    counts = channel == 0 ? counts & 0xFFFF : channel == 1 ? counts >> 16 : (uint32_t)(chip->avr->cycle % 1024);
    avr_raise_irq(avr_io_getirq(chip->avr, AVR_IOCTL_ADC_GETIRQ, (int)(ADC_IRQ_ADC0 + channel)),
                  (counts * 5000 + 1022) / 1023);
}

static void interrupt_entered(struct avr_irq_t *irq, uint32_t running, void *of)
{
    avr_t *avr = ((struct chip *)of)->avr;
    (void)irq;
    if (running) {
        avr->cycle += ENTRY_CYCLES;
        avr->run_cycle_count = 1;
    }
}

static void flags_written(struct avr_t *avr, avr_io_addr_t at, uint8_t value, void *of)
{
    struct chip *chip = of;
    for (int pin = 0; pin < 2; pin++) {
        if ((value >> pin & 1) != 0)
            avr_clear_interrupt(avr, chip->vectors[1 + pin]);
    }
    avr->data[at] &= (uint8_t)~value;
}

/* ---- power ------------------------------------------------------------------------------------ */

static void after_reset(struct chip *chip)
{
    avr_t *avr = chip->avr;
    avr->run_cycle_limit = 1u << 30;
    memset(&chip->usart, 0, sizeof chip->usart);
    if (chip->burning) {
        chip->memory[chip->burn_at] = chip->torn;
        chip->burning = false;
    }
    chip->port_b = 0;
    chip->port_d = 0;
    chip->shift_done = 0;
    for (size_t at = 0; at < chip->patched_count; at++)
        memcpy(avr->flash + chip->patched_at[at], &chip->patched[at], 2);
    chip->patched_count = 0;
    avr_extint_set_strict_lvl_trig(avr, 0, 0);
    avr_extint_set_strict_lvl_trig(avr, 1, 0);
    put_levels(chip, (uint8_t)~chip->levels & 31); /* there and back, so that every pin is driven anew */
    put_levels(chip, (uint8_t)~chip->levels & 31);
    avr_interrupt_reset(avr);
    hear_next(chip);
    show(chip);
}

static void reset_seen(struct avr_t *avr)
{
    struct chip *chip = avr->custom.data;
    if (chip->mcu_reset != NULL)
        chip->mcu_reset(avr);
    chip->was_reset = true;
}

/* Stays due until run_to takes it back, lest a sleep that begins in the same step goes past it. */
static avr_cycle_count_t wake(struct avr_t *avr, avr_cycle_count_t when, void *of)
{
    (void)when;
    (void)of;
    return avr->cycle + 1;
}

static void run_to(struct chip *chip, uint64_t cycle)
{
    avr_t *avr = chip->avr;
    if (cycle <= avr->cycle)
        return;
    avr_cycle_timer_register(avr, cycle - avr->cycle, wake, chip);
    while (avr->cycle < cycle) {
        int state = avr_run(avr);
        if (chip->was_reset) { /* the watchdog */
            chip->was_reset = false;
            chip->watchdog_resets++;
            after_reset(chip);
            if (avr->cycle < cycle)
                avr_cycle_timer_register(avr, cycle - avr->cycle, wake, chip);
        }
        if (state == cpu_Done || state == cpu_Crashed) {
            fprintf(stderr, "the emulated chip stopped at %04x\n", avr->pc);
            break;
        }
    }
    avr_cycle_timer_cancel(avr, wake, chip);
}

static void hook(struct chip *chip, avr_io_addr_t at, avr_io_read_t read, avr_io_write_t write)
{
    avr_t *avr = chip->avr;
    unsigned index = at - 32u;
    if (read != NULL) {
        avr->io[index].r.c = read;
        avr->io[index].r.param = chip;
    }
    if (write != NULL) {
        avr->io[index].w.c = write;
        avr->io[index].w.param = chip;
    }
}

static void hook_all(struct chip *chip)
{
    avr_t *avr = chip->avr;
    for (int number = 1; number < VECTORS; number++) {
        avr_irq_t *irq = avr_get_interrupt_irq(avr, (uint8_t)number);
        if (irq != NULL)
            avr_irq_register_notify(irq + AVR_INT_IRQ_RUNNING, interrupt_entered, chip);
        for (int at = 0; at < avr->interrupts.vector_count; at++) {
            if (avr->interrupts.vector[at]->vector == number)
                chip->vectors[number] = avr->interrupts.vector[at];
        }
    }
    avr_irq_register_notify(avr_get_interrupt_irq(avr, VECTOR_RX) + AVR_INT_IRQ_RUNNING, usart_served, chip);
    avr_irq_register_notify(avr_get_interrupt_irq(avr, VECTOR_UDRE) + AVR_INT_IRQ_RUNNING, usart_served, chip);
    hook(chip, AT_UDR0, udr_read, udr_written);
    hook(chip, AT_UCSR0A, status_read, plain_write);
    hook(chip, AT_UCSR0B, NULL, control_written);
    hook(chip, AT_UCSR0C, NULL, plain_write);
    hook(chip, AT_UBRR0L, NULL, plain_write);
    hook(chip, AT_SPDR, NULL, spdr_written);
    hook(chip, AT_SPSR, spsr_read, plain_write);
    hook(chip, AT_SPCR, NULL, plain_write);
    hook(chip, AT_EECR, NULL, memory_control);
    hook(chip, AT_EIFR, NULL, flags_written);
    for (int pin = 0; pin < 4; pin++)
        chip->pins[pin] = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), 2 + pin);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), IOPORT_IRQ_REG_PORT), port_b_written, chip);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), IOPORT_IRQ_REG_PORT), port_d_written, chip);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), converter_asks, chip);
    chip->mcu_reset = avr->reset;
    avr->reset = reset_seen;
    avr->custom.data = chip;
}

void *face_new(const char *image, uint32_t chance, face_analog analog)
{
    struct chip *chip = calloc(1, sizeof *chip);
    if (chip == NULL || image == NULL)
        return NULL;
    avr_global_logger_set(quiet);
    chip->analog = analog;
    chip->levels = 4 | 8 | 16;
    chip->torn = 0xFF;
    memset(chip->memory, 0xFF, sizeof chip->memory);
    if (elf_read_firmware(image, &chip->firmware) != 0)
        return NULL;
    chip->avr = avr_make_mcu_by_name("atmega328p");
    if (chip->avr == NULL)
        return NULL;
    avr_init(chip->avr);
    chip->firmware.frequency = 16000000;
    chip->firmware.vcc = chip->firmware.avcc = chip->firmware.aref = 5000;
    avr_load_firmware(chip->avr, &chip->firmware);
    chip->avr->sleep = no_sleep;
    chip->avr->log = 0;
    (void)chance;
    hook_all(chip);
    return chip;
}

void face_free(void *face)
{
    struct chip *chip = face;
    avr_terminate(chip->avr);
    free(chip->avr);
    log_free(&chip->log);
    free(chip->heard.bytes);
    free(chip->latches);
    free(chip);
}

void face_run(void *face, int64_t until_us)
{
    struct chip *chip = face;
    if (chip->powered)
        run_to(chip, cycle_at(chip, until_us));
    if (until_us > chip->now_us)
        chip->now_us = until_us;
}

/* What lies in RAM at a power-on is anybody's guess; this guess is the same every time. */
static void fill_ram(avr_t *avr)
{
    uint32_t noise = 0x2545F491;
    for (unsigned at = 0x100; at <= avr->ramend; at++) {
        noise = noise * 1664525u + 1013904223u;
        avr->data[at] = (uint8_t)(noise >> 24);
    }
}

void face_power(void *face, int64_t at_us, uint8_t cause)
{
    struct chip *chip = face;
    face_run(face, at_us);
    if (!chip->powered)
        chip->heard.count = 0;
    chip->powered = true;
    chip->power_us = at_us;
    chip->power_cycle = chip->avr->cycle;
    avr_reset(chip->avr);
    chip->was_reset = false;
    chip->avr->data[AT_MCUSR] = cause;
    if ((cause & 1) != 0) {
        fill_ram(chip->avr);
        chip->shifted = 0xA55A; /* neither does a shift register wake up empty */
        chip->coils = 0xA55A;
    }
    after_reset(chip);
}

void face_edges(void *face, size_t count, const int64_t *at_us, const uint8_t *levels)
{
    struct chip *chip = face;
    for (size_t at = 0; at < count; at++) {
        face_run(face, at_us[at]);
        put_levels(chip, levels[at]);
    }
}

void face_receive(void *face, int64_t at_us, size_t count, const uint8_t *bytes)
{
    struct chip *chip = face;
    face_run(face, at_us);
    heard_add(&chip->heard, at_us, count, bytes);
    if (chip->powered)
        hear_next(chip);
}

size_t face_sent_count(void *face)
{
    return ((struct chip *)face)->log.sent_count;
}

void face_sent(void *face, int64_t *at_us, uint8_t *bytes)
{
    log_take_sent(&((struct chip *)face)->log, at_us, bytes);
}

size_t face_signals_count(void *face)
{
    return ((struct chip *)face)->log.signals_count;
}

void face_signals(void *face, int64_t *at_us, uint16_t *coils, uint8_t *bits)
{
    log_take_signals(&((struct chip *)face)->log, at_us, coils, bits);
}

uint8_t *face_memory(void *face)
{
    return ((struct chip *)face)->memory;
}

/* ---- what only the chip has --------------------------------------------------------------------- */

uint64_t chip_cycle(void *face)
{
    return ((struct chip *)face)->avr->cycle;
}

/* Runs to a cycle counted from the latest power-on. */
void chip_run_to(void *face, uint64_t cycle)
{
    struct chip *chip = face;
    run_to(chip, chip->power_cycle + cycle);
    chip->now_us = us_at(chip, chip->avr->cycle);
}

/* Edges by cycles since power-on, for latencies finer than a microsecond; `applied` gets the cycle at
 * which each one really came, as an instruction in progress is finished first. */
void chip_edges(void *face, size_t count, const uint64_t *cycles, const uint8_t *levels, uint64_t *applied)
{
    struct chip *chip = face;
    for (size_t at = 0; at < count; at++) {
        run_to(chip, chip->power_cycle + cycles[at]);
        applied[at] = chip->avr->cycle - chip->power_cycle;
        put_levels(chip, levels[at]);
    }
    chip->now_us = us_at(chip, chip->avr->cycle);
}

size_t chip_latches_count(void *face)
{
    return ((struct chip *)face)->latches_count;
}

void chip_latches(void *face, uint64_t *cycles, uint16_t *coils)
{
    struct chip *chip = face;
    for (size_t row = 0; row < chip->latches_count; row++) {
        cycles[row] = chip->latches[row].cycle - chip->power_cycle;
        coils[row] = chip->latches[row].coils;
    }
    chip->latches_count = 0;
}

uint8_t *chip_data(void *face)
{
    return ((struct chip *)face)->avr->data;
}

uint32_t chip_overruns(void *face)
{
    return ((struct chip *)face)->overruns;
}

uint32_t chip_collisions(void *face)
{
    return ((struct chip *)face)->collisions;
}

uint32_t chip_watchdog_resets(void *face)
{
    return ((struct chip *)face)->watchdog_resets;
}

uint32_t chip_burned(void *face)
{
    return ((struct chip *)face)->burned;
}

void chip_set_torn(void *face, uint8_t byte)
{
    ((struct chip *)face)->torn = byte;
}

/* From the next round on the main loop stands still: each of its watchdog resets becomes a jump to
 * itself. Interrupts go on. The next reset undoes it. */
void chip_block_main_loop(void *face)
{
    static const uint16_t watchdog_reset = 0x95A8, jump_to_itself = 0xCFFF;
    struct chip *chip = face;
    for (uint32_t at = 0; at < chip->avr->codeend && chip->patched_count < 8; at += 2) {
        if (memcmp(chip->avr->flash + at, &watchdog_reset, 2) != 0)
            continue;
        chip->patched_at[chip->patched_count] = at;
        chip->patched[chip->patched_count++] = watchdog_reset;
        memcpy(chip->avr->flash + at, &jump_to_itself, 2);
    }
}
