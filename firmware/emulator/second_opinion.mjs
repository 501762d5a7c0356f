// The chip's image under a second, independent emulator (the npm package avr8js), for second_opinion.py.
// Reads a script from standard input: {hex, end, events: [[cycle, "pins" | "byte", value], …]}, and writes
// every latching of the shift register as [[cycle, value], …]. Cycles are counted from the reset.
import { createRequire } from 'node:module';
import { readFileSync } from 'node:fs';

const require = createRequire(process.argv[2] + '/');
const avr = require('avr8js');
const script = JSON.parse(readFileSync(0, 'utf8'));

const program = new Uint16Array(0x4000);
const bytes = new Uint8Array(program.buffer);
for (const line of script.hex.split('\n')) {
  if (line[0] !== ':' || line.slice(7, 9) !== '00') continue;
  const count = parseInt(line.slice(1, 3), 16);
  const at = parseInt(line.slice(3, 7), 16);
  for (let i = 0; i < count; i++) bytes[at + i] = parseInt(line.slice(9 + 2 * i, 11 + 2 * i), 16);
}

const cpu = new avr.CPU(program);
const clock = new avr.AVRClock(cpu, 16e6, avr.clockConfig);
const portB = new avr.AVRIOPort(cpu, avr.portBConfig);
const portD = new avr.AVRIOPort(cpu, avr.portDConfig);
new avr.AVRTimer(cpu, avr.timer0Config);
new avr.AVRTimer(cpu, avr.timer1Config);
const usart = new avr.AVRUSART(cpu, avr.usart0Config, 16e6);
new avr.AVRADC(cpu, avr.adcConfig);
new avr.AVREEPROM(cpu, new avr.EEPROMMemoryBackend(1024));
new avr.AVRWatchdog(cpu, avr.watchdogConfig, clock);
const spi = new avr.AVRSPI(cpu, avr.spiConfig, 16e6);

let shifted = 0;
const latches = [];
spi.onByte = (byte) => {
  shifted = ((shifted << 8) | byte) & 0xffff;
  cpu.addClockEvent(() => spi.completeTransfer(0xff), spi.transferCycles);
};
portB.addListener((value, before) => {
  if (value & 4 && !(before & 4)) latches.push([cpu.cycles, shifted]);
});

const applied = [];
let next = 0;
const put = ([, kind, value]) => {
  if (kind === 'byte') return usart.writeByte(value, true);
  for (const pin of [5, 4, 3, 2]) portD.setPin(pin, ((value >> (pin - 2)) & 1) === 1);
  applied.push(cpu.cycles);
};
for (const pin of [2, 3, 4, 5]) portD.setPin(pin, pin >= 4);

while (cpu.cycles < script.end) {
  while (next < script.events.length && script.events[next][0] <= cpu.cycles) put(script.events[next++]);
  avr.avrInstruction(cpu);
  const stack = cpu.SP;
  const pc = cpu.pc;
  cpu.tick();
  // The data sheet's interrupt entry takes four cycles; this emulator counts two.
  if (cpu.SP === stack - 2 && cpu.pc !== pc && cpu.pc < 0x34) cpu.cycles += 2;
}
process.stdout.write(JSON.stringify({ latches, applied }));
