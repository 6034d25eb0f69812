// The flash cache of the RP2040: 16 KiB, two ways, lines of 8 bytes. A miss takes `miss` cycles, fitted to one published benchmark.
//
// Returns an array whose one number is the cycles that the misses since it was last set to 0 have taken.
export function cachedFlash(mcu, miss) {
  const extra = new Float64Array(1); const SETS = 1024;
  const tags = [new Int32Array(SETS).fill(-1), new Int32Array(SETS).fill(-1)]; const halves = [new Uint8Array(SETS), new Uint8Array(SETS)]; const older = new Uint8Array(SETS);
  function touch(offset) {
    const line = offset >>> 3, set = line & (SETS - 1), half = 1 << ((offset >>> 2) & 1);
    for (let way = 0; way < 2; way++) {
      if (tags[way][set] === line) { older[set] = 1 - way; if (!(halves[way][set] & half)) { halves[way][set] |= half; extra[0] += miss; } return; }
    }
    const way = older[set]; extra[0] += miss; tags[way][set] = line; halves[way][set] = half; older[set] = 1 - way;
  }
  const r32 = mcu.readUint32.bind(mcu), r16 = mcu.readUint16.bind(mcu), r8 = mcu.readUint8.bind(mcu);
  const inRam = (a, size) => a >= 0x20000000 && a <= 0x20042000 - size, inFlash = (a) => a >= 0x10000000 && a < 0x11000000;
  mcu.readUint32 = (a) => { a >>>= 0; if (inRam(a, 4)) return mcu.sramView.getUint32(a - 0x20000000, true); if (inFlash(a)) touch(a - 0x10000000); return r32(a); };
  mcu.readUint16 = (a) => { a >>>= 0; if (inRam(a, 2)) return mcu.sramView.getUint16(a - 0x20000000, true); if (inFlash(a)) touch(a - 0x10000000); return r16(a); };
  mcu.readUint8 = (a) => { a >>>= 0; if (inRam(a, 1)) return mcu.sram[a - 0x20000000]; if (inFlash(a)) touch(a - 0x10000000); return r8(a); };
  return extra;
}
