// The firmware of the Latchline board. Everything is in src: the core without hardware in src/core,
// the ATmega328P at 16 MHz in src/avr. This file is here so that the folder opens as a sketch.
