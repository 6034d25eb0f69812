// An emulated RP2040 that somebody else drives, slice by slice. live_pico.py starts it in the folder that has the emulator's package.
//
//   node live.mjs JOB.json
//
// The job names the image of MicroPython, the boot ROM and, if there is one, the file system as a UF2 file. Each line of standard input is
// a slice of time: {"until_us", "edges": [[us, pin, level], ...], "analog": {...}, "typed": hex, "restart": true, "held": true}. Each is
// answered by a line: {"serial": hex, "command_mv", "enable", "restarts"}. A restart, also the chip's own, keeps the flash and nothing else;
// a chip that is held in reset does not run.
import fs from 'fs';
import { flashOf, makeChip } from './chip.mjs';
const job = JSON.parse(fs.readFileSync(process.argv[2], 'utf8'));
let analog = {}, serial = [], restarts = 0, startedNs = 0, chip = null;
const pins = new Map([[2, 0], [3, 0], [4, 0], [5, 0], [6, 1], [7, 1], [12, 1]]);
const on = { enable: () => {}, lamp: () => {}, reset: () => {}, serial: (bytes) => serial.push(bytes) };

async function start(flash, nowNs) {
  chip = await makeChip(job, flash, () => analog, on);
  startedNs = nowNs;
  for (const [pin, level] of pins) chip.set(pin, level);
}

async function runTo(ns) {
  chip.advance(ns - startedNs);
  while (chip.stopped) { restarts++; await start(chip.mcu.flash, startedNs + chip.clock.nanos); chip.advance(ns - startedNs); }
}

let rest = '';
function nextLine() {
  const piece = Buffer.alloc(65536);
  for (;;) {
    const end = rest.indexOf('\n');
    if (end >= 0) { const line = rest.slice(0, end); rest = rest.slice(end + 1); return line; }
    const size = fs.readSync(0, piece);
    if (size === 0) return null;
    rest += piece.toString('latin1', 0, size);
  }
}

await start(flashOf(job), 0);
for (let line = nextLine(); line !== null; line = nextLine()) {
  const slice = JSON.parse(line), untilNs = slice.until_us * 1000;
  analog = slice.analog;
  if (slice.restart) { restarts++; await start(chip.mcu.flash, startedNs + chip.clock.nanos); }
  if (slice.typed) chip.type(Buffer.from(slice.typed, 'hex'));
  for (const [us, pin, level] of slice.edges) {
    if (!slice.held) await runTo(us * 1000);
    pins.set(pin, level); chip.set(pin, level);
  }
  if (slice.held) startedNs = untilNs; else await runTo(untilNs);
  const answer = { serial: Buffer.concat(serial).toString('hex'), command_mv: chip.command_mv(), enable: chip.enable, restarts };
  serial = [];
  fs.writeSync(1, JSON.stringify(answer) + '\n');
}
process.exit(0);
