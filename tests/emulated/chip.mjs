// An emulated RP2040 with MicroPython in its flash, its USB console, and the wires of the wiring guide.
import fs from 'fs';
import { RP2040, USBCDC, ConsoleLogger, LogLevel, Simulator } from 'rp2040js';
import { cachedFlash } from './flash_cache.mjs';

const FULL_COMMAND_MV = 4950, CYCLES_A_MS = 125_000;

// The boot ROM's two functions that erase and program flash: what they do to the chip is not emulated, so each is a break and a return.
// 45 ms to erase a sector of 4 KiB and 0.4 ms to program a page of 256 bytes are usual for such chips (from memory, no source).
function emulateFlash(mcu, extra) {
  const rom = new DataView(mcu.bootrom.buffer);
  for (let at = rom.getUint16(0x14, true); rom.getUint16(at, true); at += 4) {
    const code = { RE: 0xe1, RP: 0xe2 }[String.fromCharCode(rom.getUint8(at), rom.getUint8(at + 1))];
    if (!code) continue;
    const entry = rom.getUint16(at + 2, true) & ~1;
    rom.setUint16(entry, 0xbe00 | code, true); rom.setUint16(entry + 2, 0x4770, true);
  }
  mcu.onBreak = (code) => {
    const [start, second, third] = mcu.core.registers;
    if (code === 0xe1) { mcu.flash.fill(0xff, start, start + second); extra[0] += Math.ceil(second / 4096) * 45 * CYCLES_A_MS; }
    else if (code === 0xe2) {
      for (let at = 0; at < third; at++) mcu.flash[start + at] &= mcu.readUint8(second + at);
      extra[0] += Math.ceil(third / 256) * 0.4 * CYCLES_A_MS;
    }
  };
}

// Return the content of the flash: the job's image, and its file system (a UF2 file) if it names one.
export function flashOf(job) {
  const flash = new Uint8Array(16 * 1024 * 1024).fill(0xff);
  flash.set(fs.readFileSync(job.image), 0);
  if (!job.uf2) return flash;
  const u = fs.readFileSync(job.uf2);
  for (let at = 0; at < u.length; at += 512) flash.set(u.subarray(at + 32, at + 32 + u.readUInt32LE(at + 16)), u.readUInt32LE(at + 12) - 0x10000000);
  return flash;
}

// `analog()` is asked before each conversion for throttle_mv, current_ma, selector_mv, battery_mv and ntc_raw. `on` has functions:
// serial(bytes), enable(level), lamp(level), reset(), and if wanted read() of the throttle and commanded(). Read `command_mv` (as long as drive enable is on), `enable`, `stopped`.
export async function makeChip(job, flash, analog, on) {
  const { bootromB1 } = await import(new URL('file://' + fs.realpathSync(job.bootrom)));
  const sim = new Simulator(), mcu = sim.rp2040, clock = sim.clock, core = mcu.core;
  mcu.loadBootrom(bootromB1); mcu.logger = new ConsoleLogger(LogLevel.Error);
  mcu.flash.set(flash, 0);
  const extra = cachedFlash(mcu, job.miss);
  emulateFlash(mcu, extra);
  let nsPerCycle = 8; mcu.addClockListener((hz) => { nsPerCycle = 1e9 / hz; });
  const cdc = new USBCDC(mcu.usbCtrl);
  cdc.onSerialData = (value) => on.serial(Buffer.from(value));
  const chip = { mcu, clock, stopped: false, enable: 0, lamp: 0 };

  // Outputs: the command as a share of full scale, drive enable, the lamp.
  let share = 0;
  const pwm = mcu.pwm.channels[4], written = pwm.writeRegister.bind(pwm);
  pwm.writeRegister = (offset, value) => { written(offset, value); share = (pwm.cc & 0xffff) / (pwm.top + 1); on.commanded?.(); };
  for (const [pin, what] of [[9, 'enable'], [25, 'lamp']]) {
    mcu.gpio[pin].addListener((state) => { const v = state === 1 ? 1 : 0; if (v !== chip[what]) { chip[what] = v; on[what](v); } });
  }
  chip.command_mv = () => (chip.enable ? share * FULL_COMMAND_MV : 0);

  // Inputs: the converters behind the wiring guide's dividers.
  const raw = (value, full) => Math.max(0, Math.min(4095, Math.round(value / full * 4095)));
  const converted = mcu.adc.onADCRead;
  mcu.adc.onADCRead = (channel) => {
    const values = mcu.adc.channelValues, now = analog();
    if (channel === 0) { values[0] = raw(now.throttle_mv, 5500); on.read?.(); }
    else if (channel === 1) values[1] = raw(now.current_ma, 33000);
    else if (channel === 2) {
      const multiplexed = (mcu.gpio[10].value === 1 ? 1 : 0) | (mcu.gpio[11].value === 1 ? 2 : 0);
      values[2] = multiplexed === 0 ? raw(now.selector_mv, 5500) : multiplexed === 1 ? raw(now.battery_mv, 62700) : now.ntc_raw;
    }
    converted(channel);
  };
  chip.set = (pin, level) => mcu.gpio[pin].setInputValue(!!level);
  (mcu.watchdog ?? mcu.peripherals[0x40058] ?? {}).onWatchdogTrigger = () => { chip.stopped = true; on.reset(); };

  const queue = []; let turns = 0, fed = 0;
  chip.type = (bytes) => { for (const byte of bytes) queue.push(byte); };
  core.PC = 0x10000000;
  // Run until the clock shows `until` nanoseconds, or until it is stopped.
  chip.advance = (until) => {
    while (clock.nanos < until && !chip.stopped) {
      if (queue.length && turns - fed > 1024 && cdc.txFIFO.itemCount < 400) { cdc.sendSerialByte(queue.shift()); fed = turns; }
      if (core.waiting) { clock.tick(Math.min(clock.nanosToNextAlarm || 1e4, 1e4, Math.max(until - clock.nanos, 1))); turns++; continue; }
      for (let i = 0; i < 1024 && !core.waiting; i++, turns++) {
        const cycles = core.executeInstruction() + extra[0]; extra[0] = 0;
        const then = clock.nanosCounter + cycles * nsPerCycle, alarm = clock.nextAlarm;
        if (alarm !== null && alarm.nanos <= then) clock.tick(then - clock.nanosCounter); else clock.nanosCounter = then;
        if (then >= until || alarm !== clock.nextAlarm) break;
      }
    }
  };
  return chip;
}
