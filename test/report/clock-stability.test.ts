import { describe, expect, it } from 'vitest';
import { drawStability, findJumps, measureStability } from '../../src/report/clock-stability.js';
import type { ClockRow } from '../../src/schema/rows.js';

const row = (tRefSec: number, offsetSec: number, ppm = 0): ClockRow => ({ recorder: 'R2', tRefSec, offsetSec, ppm, uncertaintySec: 1e-5 });

/** NIST SP 1065 (Riley 2008), table 31: the generator of the 1000-point test suite, n[i+1] = 16807 n[i] mod 2147483647, n[0] = 1234567890. */
function nistPhase(count: number): number[] {
  let n = 1234567890;
  let x = 0;
  const phase = [0];
  for (let k = 0; k < count; k++) {
    x += n / 2147483647;
    phase.push(x);
    n = Number((16807n * BigInt(n)) % 2147483647n);
  }
  return phase;
}

describe('stability of a clock', () => {
  it('is the overlapping Allan deviation of the published test suite', () => {
    const points = measureStability(nistPhase(1000).map((x, k) => ({ ...row(k, x), uncertaintySec: 10 })));
    // NIST SP 1065, table 31: overlapping Allan deviation 2.922319e-1 at m = 1.
    expect(points[0].tauSec).toBe(1);
    expect(points[0].deviation).toBeCloseTo(0.2922319, 6);
    expect(points.every((p, k) => p.tauSec === 2 ** k)).toBe(true);
  });

  it('finds a jump, says where and how large, and takes it out', () => {
    const clean = Array.from({ length: 64 }, (_, k) => row(10 * k, 2e-5 * 10 * k + 1e-6 * Math.sin(k), 20));
    const jumped = clean.map((r) => (r.tRefSec >= 300 ? { ...r, offsetSec: r.offsetSec - 0.01 } : r));
    expect(findJumps(clean)).toEqual([]);
    const [jump, ...more] = findJumps(jumped);
    expect(more).toEqual([]);
    expect(jump.tSec).toBe(300);
    expect(jump.stepSec).toBeCloseTo(-0.01, 5);
    // What the jump is taken for holds one microsecond of the wobble.
    measureStability(jumped).forEach((p, k) => expect(Math.abs(p.deviation / measureStability(clean)[k].deviation - 1)).toBeLessThan(0.5));
  });

  it('draws nothing from too few rows, and stops where the rows are uneven', () => {
    expect(measureStability([row(0, 0), row(1, 1), row(2, 0)])).toEqual([]);
    expect(drawStability('R2', [])).toBe('');
    const uneven = [0, 1, 2, 3, 4, 5, 17, 18].map((t) => row(t, 1e-6 * (t % 2)));
    expect(measureStability(uneven).map((p) => p.tauSec)).toEqual([1]);
  });
});
