// An emulated RP2040 with a scripted bicycle round it. pico.py starts it in the folder that has the emulator's package.
//
//   node emulate.mjs JOB.json
//
// The job names the image of MicroPython, the boot ROM, the file system as a UF2 file, edges and sets as [microsecond, pin, level],
// serial input as [microsecond, text], milliseconds to run, a text to stop at, and where to write what came out.
import fs from 'fs';
import { RP2040, USBCDC, ConsoleLogger, LogLevel, Simulator } from 'rp2040js';
import { cachedFlash } from './flash_cache.mjs';
const job = JSON.parse(fs.readFileSync(process.argv[2], 'utf8'));
const { bootromB1 } = await import(new URL('file://' + fs.realpathSync(job.bootrom)));
const sim = new Simulator(); const mcu = sim.rp2040; const clock = sim.clock; const core = mcu.core;
mcu.loadBootrom(bootromB1); mcu.logger = new ConsoleLogger(LogLevel.Error);
mcu.flash.set(fs.readFileSync(job.image), 0);
const u = fs.readFileSync(job.uf2);
for (let at = 0; at < u.length; at += 512) mcu.flash.set(u.subarray(at + 32, at + 32 + u.readUInt32LE(at + 16)), u.readUInt32LE(at + 12) - 0x10000000);

const extra = cachedFlash(mcu, job.miss);

// The boot ROM's two functions that erase and program flash: what they do to the chip is not emulated, so each is a break and a return.
// 45 ms to erase a sector of 4 KiB and 0.4 ms to program a page of 256 bytes are usual for such chips (from memory, no source).
const rom = new DataView(mcu.bootrom.buffer), CYCLES_A_MS = 125_000;
for (let at = rom.getUint16(0x14, true); rom.getUint16(at, true); at += 4) {
  const code = { RE: 0xe1, RP: 0xe2 }[String.fromCharCode(rom.getUint8(at), rom.getUint8(at + 1))];
  if (!code) continue;
  const entry = rom.getUint16(at + 2, true) & ~1;
  rom.setUint16(entry, 0xbe00 | code, true); rom.setUint16(entry + 2, 0x4770, true);
}
mcu.onBreak = (code) => {
  const [start, second, third] = core.registers;
  if (code === 0xe1) { mcu.flash.fill(0xff, start, start + second); extra[0] += Math.ceil(second / 4096) * 45 * CYCLES_A_MS; }
  else if (code === 0xe2) {
    for (let at = 0; at < third; at++) mcu.flash[start + at] &= mcu.readUint8(second + at);
    extra[0] += Math.ceil(third / 256) * 0.4 * CYCLES_A_MS;
  }
};

let nsPerCycle = 8; mcu.addClockListener((hz) => { nsPerCycle = 1e9 / hz; });
const events = []; const now_us = () => Math.round(clock.nanos) / 1000;
const serial = []; const queue = []; let tail = '', stop = false;
const cdc = new USBCDC(mcu.usbCtrl);
cdc.onSerialData = (value) => {
  const bytes = Buffer.from(value); serial.push([now_us(), bytes.toString('hex')]);
  tail = (tail + bytes.toString('latin1')).slice(-200); if (job.stop_at && tail.includes(job.stop_at)) stop = true;
};

// Outputs: the command as a share of full scale, drive enable, the lamp. A loop goes from a reading of the throttle, which is followed by a
// command, to the next one.
let share = 0, enable = 0, lamp = 0, read_us = 0, commanded = false; const loops = [];
const pwm = mcu.pwm.channels[4], written = pwm.writeRegister.bind(pwm);
pwm.writeRegister = (offset, value) => { written(offset, value); share = (pwm.cc & 0xffff) / (pwm.top + 1); commanded = true; };
mcu.gpio[9].addListener((state) => { const v = state === 1 ? 1 : 0; if (v !== enable) { enable = v; events.push([now_us(), 'enable', v]); } });
mcu.gpio[25].addListener((state) => { const v = state === 1 ? 1 : 0; if (v !== lamp) { lamp = v; events.push([now_us(), 'lamp', v]); } });

// Inputs: a motor that draws a share of its current after 20 ms, and the converters behind the wiring guide's dividers.
const analog = Object.assign({ throttle_mv: 850, selector_mv: 4200, battery_mv: 39000, ntc_raw: 2158, current_full_ma: 9000 }, job.analog || {});
let current_ma = 0, moved = 0;
const raw = (value, full) => Math.max(0, Math.min(4095, Math.round(value / full * 4095)));
const converted = mcu.adc.onADCRead;
mcu.adc.onADCRead = (channel) => {
  const values = mcu.adc.channelValues;
  const command_mv = enable ? share * 4950 : 0, wanted = command_mv > 1100 ? (command_mv - 1100) / 2500 * analog.current_full_ma : 0;
  current_ma += (wanted - current_ma) * Math.min(1, (clock.nanos - moved) / 20e6); moved = clock.nanos;
  if (channel === 0) {
    values[0] = raw(analog.throttle_mv, 5500);
    if (commanded) loops.push([read_us, now_us() - read_us]);
    read_us = now_us(); commanded = false;
  }
  else if (channel === 1) values[1] = raw(current_ma, 33000);
  else if (channel === 2) {
    const multiplexed = (mcu.gpio[10].value === 1 ? 1 : 0) | (mcu.gpio[11].value === 1 ? 2 : 0);
    values[2] = multiplexed === 0 ? raw(analog.selector_mv, 5500) : multiplexed === 1 ? raw(analog.battery_mv, 62700) : analog.ntc_raw;
  }
  converted(channel);
};
for (const [pin, level] of [[2, 0], [3, 0], [4, 1], [5, 0], [6, 1], [7, 1], [12, 1]]) mcu.gpio[pin].setInputValue(!!level);
const edges = job.edges.map(([t, pin, level]) => [t * 1000, pin, level]).sort((a, b) => a[0] - b[0]);
const typed = (job.typed || []).map(([t, text]) => [t * 1000, text]).sort((a, b) => a[0] - b[0]);
(mcu.watchdog ?? mcu.peripherals[0x40058] ?? {}).onWatchdogTrigger = () => { events.push([now_us(), 'watchdog', 1]); stop = true; };

core.PC = 0x10000000;
const limit = job.milliseconds * 1e6; let turns = 0, rested = 0, fed = 0, edge = 0, line = 0;
for (;;) {
  const now = clock.nanos;
  while (edge < edges.length && edges[edge][0] <= now) { mcu.gpio[edges[edge][1]].setInputValue(!!edges[edge][2]); edge++; }
  while (line < typed.length && typed[line][0] <= now) { for (const byte of Buffer.from(typed[line][1])) queue.push(byte); line++; }
  if (queue.length && turns - fed > 1024 && cdc.txFIFO.itemCount < 400) { cdc.sendSerialByte(queue.shift()); fed = turns; }
  if (turns - rested > 2e6) { rested = turns; await new Promise((resolve) => setImmediate(resolve)); }
  if (now > limit || stop) break;
  const until = Math.min(limit + 1, edge < edges.length ? edges[edge][0] : Infinity, line < typed.length ? typed[line][0] : Infinity);
  if (core.waiting) { clock.tick(Math.min(clock.nanosToNextAlarm || 1e4, 1e4, Math.max(until - now, 1))); turns++; continue; }
  for (let i = 0; i < 1024 && !core.waiting; i++, turns++) {
    const cycles = core.executeInstruction() + extra[0]; extra[0] = 0;
    const then = clock.nanosCounter + cycles * nsPerCycle, alarm = clock.nextAlarm;
    if (alarm !== null && alarm.nanos <= then) clock.tick(then - clock.nanosCounter); else clock.nanosCounter = then;
    if (then >= until || alarm !== clock.nextAlarm) break;
  }
}
fs.writeFileSync(job.out, JSON.stringify({ seconds: clock.nanos / 1e9, events, serial, loops }));
process.exit(0);
