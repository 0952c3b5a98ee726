import { describe, expect, it } from 'vitest';
import { RandomWords } from '../../src/numeric/random-words.js';
import { applyLine, fitLine, toLogOdds } from '../../src/refit/rising-line.js';
import type { JudgedRow, RisingLine } from '../../src/refit/rising-line.js';

const SAME: RisingLine = { shift: 0, lowSlope: 1, highSlope: 1, untaggedShift: 0 };

function drawRows(count: number, seed: number, distort: (z: number, isUntagged: boolean) => number): JudgedRow[] {
  const random = new RandomWords(seed);
  return Array.from({ length: count }, () => {
    const truth = 0.5 + 0.499 * random.nextUnit() ** 0.5;
    const isUntagged = random.nextUnit() < 0.2;
    const stated = 1 / (1 + Math.exp(-distort(Math.log(truth / (1 - truth)), isUntagged)));
    return { probability: stated, isUntagged, isRight: random.nextUnit() < truth, weight: 1 };
  });
}

/** The penalized loss as a plain formula, for a look at its slope. */
function lossOf(rows: readonly JudgedRow[], w: readonly number[]): number {
  const scale = rows.reduce((s, r) => s + r.weight, 0) / rows.reduce((s, r) => s + r.weight ** 2, 0);
  const fit = rows.reduce((sum, r) => {
    const z = Math.log(r.probability / (1 - r.probability));
    const q = 1 / (1 + Math.exp(-(2 + w[0] + w[1] * Math.min(0, z - 2) + w[2] * Math.max(0, z - 2) + (r.isUntagged ? w[3] : 0))));
    return sum - scale * r.weight * Math.log(r.isRight ? q : 1 - q);
  }, 0);
  return fit + [0, 1, 1, 0].reduce((sum, mean, i) => sum + ((w[i] - mean) / [0.7, 0.3, 0.3, 0.5][i]) ** 2 / 2, 0);
}

const values = (line: RisingLine): number[] => [line.shift, line.lowSlope, line.highSlope, line.untaggedShift];

describe('fitLine', () => {
  it('stands at the bottom of the penalized loss, with even and with uneven weights', () => {
    for (const weightOf of [() => 1, (n: number) => 1 + (n % 7)]) {
      const rows = drawRows(300, 4, (z, u) => 1 + 1.2 * z + (u ? 0.5 : 0)).filter((r) => r.probability > 0.001 && r.probability < 0.999).map((r, n) => ({ ...r, weight: weightOf(n) }));
      const w = values(fitLine(rows));
      w.forEach((_v, i) => {
        const at = (d: number): number => lossOf(rows, w.map((x, k) => (k === i ? x + d : x)));
        expect(Math.abs((at(1e-4) - at(-1e-4)) / 2e-4)).toBeLessThan(1e-3);
        expect(at(0)).toBeLessThan(Math.min(at(0.02), at(-0.02)));
      });
    }
  });

  it('does not care about the unit of the weights', () => {
    const rows = drawRows(200, 5, (z) => 0.5 * z);
    const scaled = rows.map((r) => ({ ...r, weight: 37.5 }));
    values(fitLine(scaled)).forEach((v, i) => expect(v).toBeCloseTo(values(fitLine(rows))[i], 6));
  });

  it('recovers a line that is steeper, flatter, shifted or other for callers without a tag', () => {
    for (const distort of [(z: number) => 1 + 1.5 * z, (z: number) => 0.5 * z - 0.3, (z: number, u: boolean) => z + (u ? 1.5 : 0)]) {
      const line = fitLine(drawRows(6000, 6, distort));
      for (const isUntagged of [false, true]) {
        for (const truth of [0.6, 0.8, 0.95, 0.98]) {
          const stated = 1 / (1 + Math.exp(-distort(Math.log(truth / (1 - truth)), isUntagged)));
          // 6000 rows, a fifth without a tag: about two standard errors of a share among a few hundred rows.
          expect(Math.abs(applyLine(line, stated, isUntagged) - truth)).toBeLessThan(0.04);
        }
      }
    }
  });

  it('hardly changes anything where few rows say little, and nothing where none do', () => {
    expect(fitLine([])).toEqual(SAME);
    const few = [true, true, false].map((isRight): JudgedRow => ({ probability: 0.9, isUntagged: false, isRight, weight: 4 }));
    expect(Math.abs(applyLine(fitLine(few), 0.9, false) - 0.9)).toBeLessThan(0.06);
    const sure = Array.from({ length: 60 }, (): JudgedRow => ({ probability: 0.98, isUntagged: false, isRight: true, weight: 1 }));
    const after = applyLine(fitLine(sure), 0.98, false);
    expect([after > 0.98, after < 0.992]).toEqual([true, true]);
  });

  it('never lets a surer row become less sure, whatever the labels say', () => {
    const against = Array.from({ length: 400 }, (_, n): JudgedRow => ({ probability: 0.5 + n / 801, isUntagged: n % 9 === 0, isRight: n % 400 < 200, weight: 1 }));
    const line = fitLine(against);
    expect([line.lowSlope, line.highSlope].every((s) => s >= 0.05)).toBe(true);
    const ladder = Array.from({ length: 1001 }, (_, n) => applyLine(line, n / 1000, false));
    expect(ladder.every((p, n) => n === 0 || p >= ladder[n - 1])).toBe(true);
    expect(ladder.every((p) => p >= 0.0005 && p <= 0.9995)).toBe(true);
  });

  it('bears probabilities of 0 and 1', () => {
    const rows = [0, 1, 0.5, 1].map((probability, n): JudgedRow => ({ probability, isUntagged: false, isRight: n !== 1, weight: 1 }));
    expect(values(fitLine(rows)).every(Number.isFinite)).toBe(true);
    expect([toLogOdds(0), toLogOdds(1)]).toEqual([toLogOdds(0.0005), toLogOdds(0.9995)]);
    expect(applyLine(SAME, 0.73, true)).toBeCloseTo(0.73, 12);
  });
});
