// An emulated RP2040 with a scripted bicycle round it. pico.py starts it in the folder that has the emulator's package.
//
//   node emulate.mjs JOB.json
//
// The job names the image of MicroPython, the boot ROM, the file system as a UF2 file, edges and sets as [microsecond, pin, level],
// serial input as [microsecond, text], milliseconds to run, a text to stop at, and where to write what came out.
import fs from 'fs';
import { flashOf, makeChip } from './chip.mjs';
const job = JSON.parse(fs.readFileSync(process.argv[2], 'utf8'));
const events = [], serial = []; let tail = '';
// A loop goes from a reading of the throttle, which is followed by a command, to the next one.
const loops = []; let read_us = 0, commanded = false;
const now_us = () => Math.round(chip.clock.nanos) / 1000;

// A motor that draws a share of its current after 20 ms.
const analog = Object.assign({ throttle_mv: 850, selector_mv: 4200, battery_mv: 39000, ntc_raw: 2158, current_full_ma: 9000, current_ma: 0 }, job.analog || {});
let moved = 0;
function readings() {
  const command_mv = chip.command_mv(), wanted = command_mv > 1100 ? (command_mv - 1100) / 2500 * analog.current_full_ma : 0;
  analog.current_ma += (wanted - analog.current_ma) * Math.min(1, (chip.clock.nanos - moved) / 20e6); moved = chip.clock.nanos;
  return analog;
}
const chip = await makeChip(job, flashOf(job), readings, {
  enable: (level) => events.push([now_us(), 'enable', level]),
  lamp: (level) => events.push([now_us(), 'lamp', level]),
  commanded: () => { commanded = true; },
  read: () => {
    if (commanded) loops.push([read_us, now_us() - read_us]);
    read_us = now_us(); commanded = false;
  },
  reset: () => events.push([now_us(), 'watchdog', 1]),
  serial: (bytes) => {
    serial.push([now_us(), bytes.toString('hex')]);
    tail = (tail + bytes.toString('latin1')).slice(-200); if (job.stop_at && tail.includes(job.stop_at)) chip.stopped = true;
  },
});
for (const [pin, level] of [[2, 0], [3, 0], [4, 1], [5, 0], [6, 1], [7, 1], [12, 1]]) chip.set(pin, level);
const edges = job.edges.map(([t, pin, level]) => [t * 1000, pin, level]).sort((a, b) => a[0] - b[0]);
const typed = (job.typed || []).map(([t, text]) => [t * 1000, text]).sort((a, b) => a[0] - b[0]);

const limit = job.milliseconds * 1e6; let edge = 0, line = 0;
while (chip.clock.nanos <= limit && !chip.stopped) {
  const now = chip.clock.nanos;
  while (edge < edges.length && edges[edge][0] <= now) { chip.set(edges[edge][1], edges[edge][2]); edge++; }
  while (line < typed.length && typed[line][0] <= now) { chip.type(Buffer.from(typed[line][1])); line++; }
  chip.advance(Math.min(limit + 1, edge < edges.length ? edges[edge][0] : Infinity, line < typed.length ? typed[line][0] : Infinity));
}
fs.writeFileSync(job.out, JSON.stringify({ seconds: chip.clock.nanos / 1e9, events, serial, loops }));
process.exit(0);
