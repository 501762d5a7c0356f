/* Which pin of the ATmega328P does what; hardware/ has the same in its wiring tables. */
#ifndef LATCHLINE_BOARD_PINS_H
#define LATCHLINE_BOARD_PINS_H

/* Port D: inputs 2 to 5 lie side by side in the order of the protocol's `pins`. */
#define PIN_ENCODER_A PD2    /* INT0 */
#define PIN_ENCODER_B PD3    /* INT1 */
#define PIN_SENSOR_LEFT PD4  /* active low */
#define PIN_SENSOR_RIGHT PD5 /* active low */
#define PIN_LAMP PD6
#define PIN_BUZZER PD7

/* Port B: a third sensor amid the bed, where there is one, and the power shift register. */
#define PIN_SENSOR_MIDDLE PB1 /* active low */
#define PIN_DISABLE PB0 /* output enable, active low, pulled high by a resistor: coils off until told */
#define PIN_LATCH PB2   /* rising edge: what was shifted appears at the outputs; also SPI's own select */
#define PIN_DATA PB3    /* MOSI */
#define PIN_CLOCK PB5   /* SCK */

/* Port C: analog. */
#define PIN_SUPPLY PC0  /* ADC0, coil supply through a divider */
#define PIN_CURRENT PC1 /* ADC1, coil return current over a shunt */

#endif
