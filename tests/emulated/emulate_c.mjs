// Runs a program without MicroPython on an emulated RP2040, and counts the cycles of one of its functions.
//
//   node emulate_c.mjs JOB.json
//
// The job names the program (flash from its first byte), the vectors and the address of the flash they are put at, where the program
// starts, the top of its stack, the addresses of the function and of the one that the program ends in, the address of the
// text that it leaves, and where to write text and cycles.
import fs from 'fs';
import { RP2040, ConsoleLogger, LogLevel } from 'rp2040js';
import { cachedFlash } from './flash_cache.mjs';
const job = JSON.parse(fs.readFileSync(process.argv[2], 'utf8'));
const mcu = new RP2040(); const core = mcu.core;
mcu.logger = new ConsoleLogger(LogLevel.Error);
mcu.flash.set(fs.readFileSync(job.program), 0);
mcu.flash.set(fs.readFileSync(job.vectors), job.vectors_at - 0x10000000);
const extra = cachedFlash(mcu, job.miss);
core.SP = job.stack; core.PC = job.start & ~1;
const timed = job.timed & ~1, end = job.end & ~1;
const cycles = []; let total = 0, began = 0, back = -1;
while (core.PC !== end) {
  if (core.PC === timed) { began = total; back = core.LR & ~1; }
  else if (core.PC === back) { cycles.push(total - began); back = -1; }
  total += core.executeInstruction() + extra[0]; extra[0] = 0;
}
let said = '';
for (let at = job.said; mcu.readUint8(at) !== 0; at++) said += String.fromCharCode(mcu.readUint8(at));
fs.writeFileSync(job.out, JSON.stringify({ cycles, said }));
