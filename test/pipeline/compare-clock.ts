import type { ClockRow } from '../../src/schema/rows.js';

/** True offset of a recorder at a reference time. */
export interface TrueOffset { recorder: string; tRefSec: number; offsetSec: number }

/** Root mean square error of a clock table against true offsets, seconds, and the same of its stated uncertainty. */
export function compareClock(rows: readonly ClockRow[], truth: readonly TrueOffset[]): { rmsSec: number; statedSec: number } {
  let square = 0;
  let stated = 0;
  for (const t of truth) {
    const own = rows.filter((r) => r.recorder === t.recorder);
    const before = own.filter((r) => r.tRefSec <= t.tRefSec).at(-1) ?? own[0];
    const after = own.find((r) => r.tRefSec > t.tRefSec);
    const offset = after
      ? before.offsetSec + ((after.offsetSec - before.offsetSec) * (t.tRefSec - before.tRefSec)) / (after.tRefSec - before.tRefSec)
      : before.offsetSec + 1e-6 * before.ppm * (t.tRefSec - before.tRefSec);
    square += (offset - t.offsetSec) ** 2;
    stated += before.uncertaintySec ** 2;
  }
  return { rmsSec: Math.sqrt(square / truth.length), statedSec: Math.sqrt(stated / truth.length) };
}
