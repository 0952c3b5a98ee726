import { describe, expect, it } from 'vitest';
import { RandomWords } from '../../src/numeric/random-words.js';
import { formatRefit } from '../../src/refit/format-refit.js';
import { measureForecastErrors } from '../../src/refit/forecast-errors.js';
import { judgeSample, judgeStretch } from '../../src/refit/judge-rows.js';
import { refitCalls } from '../../src/refit/refit-calls.js';
import type { CallRow } from '../../src/schema/rows.js';
import { drawSample } from '../../src/score/sample-calls.js';
import type { VerifiedCall } from '../../src/score/score-verified.js';
import { expectedCalibrationError } from '../../src/score/calibration.js';
import { simulateDays } from '../../src/simulate/days/simulate-days.js';

interface KnownCall extends CallRow { truth: number; isRight: boolean }

/** A day of four birds whose rows are right with just their true probability, stated as `distort` says of its log-odds. */
function makeTable(seed: number, distort: (z: number) => number): KnownCall[] {
  const random = new RandomWords(seed);
  const birds = ['red', 'blue', 'green', 'white'].map((name) => ({ name }));
  const { calls } = simulateDays({ days: 1, birds, attribution: { wrong: 0.12, missed: 0.1, ghosts: 0 } }, seed);
  return calls.map((call) => {
    const truth = Math.min(0.999, call.probability);
    const stated = 1 / (1 + Math.exp(-distort(Math.log(truth / (1 - truth)))));
    const probability = Number(stated.toFixed(4));
    return { ...call, probability, runnerUpProbability: Number((0.6 * (1 - probability)).toFixed(4)), truth, isRight: random.nextUnit() < truth };
  });
}

function verify(table: readonly KnownCall[], count: number, seed: number): VerifiedCall[] {
  const byId = new Map(table.map((c) => [c.callId, c]));
  return drawSample(table, count, seed).drawn.map((d, n) => {
    const call = byId.get(d.callId)!;
    return { ...d, row: n + 2, bird: call.isRight ? call.bird : 'no_call', onsetSec: call.onsetSec };
  });
}

const distanceOf = (table: readonly KnownCall[], rows: readonly CallRow[]): number => {
  const truth = new Map(table.map((c) => [c.callId, c.truth]));
  return rows.reduce((s, c) => s + Math.abs(c.probability - truth.get(c.callId)!), 0) / rows.length;
};

describe('refitCalls', () => {
  it.each([['too sure', (z: number) => 1.5 + 1.3 * z], ['too unsure', (z: number) => 0.6 * z - 0.5]] as const)('recovers calibrated probabilities from a table that is %s', (_, distort) => {
    const table = makeTable(8101, distort);
    const refit = refitCalls(table, judgeSample(table, verify(table, 300, 1)), { threshold: 0 });
    // bench/refit finds a mean of .02 with so many rows; tables scatter by about as much.
    expect(distanceOf(table, refit.calls)).toBeLessThan(0.04);
    expect(distanceOf(table, refit.calls)).toBeLessThan(0.5 * distanceOf(table, table));
    expect(refit.after.logLoss).toBeLessThan(refit.before.logLoss);
    expect(refit.isBetter).toBe(true);
    expect(Math.abs(refit.after.claimed - refit.rightShare)).toBeLessThan(0.5 * Math.abs(refit.before.claimed - refit.rightShare));
  });

  it('changes a calibrated table little, and says that it gains nothing where it does not', () => {
    const table = makeTable(8102, (z) => z);
    const refit = refitCalls(table, judgeSample(table, verify(table, 50, 1)), { threshold: 0 });
    expect(distanceOf(table, refit.calls)).toBeLessThan(0.05);
    const text = formatRefit({ ...refit, isBetter: false });
    expect(text).toContain('keep the old table');
    expect(text).not.toMatch(/NaN|undefined|null/);
  });

  it('keeps order, callers, times and numbers, shares what is left as before, leaves out what falls below the threshold', () => {
    const table = makeTable(8103, (z) => 2 + z);
    const judged = judgeSample(table, verify(table, 300, 1));
    const all = refitCalls(table, judged, { threshold: 0 });
    expect(all.calls.map((c) => [c.callId, c.bird, c.onsetSec, c.overlaps])).toEqual(table.map((c) => [c.callId, c.bird, c.onsetSec, c.overlaps]));
    const some = refitCalls(table, judged, { threshold: 0.8 });
    expect(some.leftOut).toBe(all.calls.filter((c) => c.probability < 0.8).length);
    expect(some.leftOut).toBeGreaterThan(0);
    expect(some.calls.every((c) => c.probability >= 0.8)).toBe(true);
    for (const [n, c] of all.calls.entries()) {
      expect(c.probability + c.runnerUpProbability).toBeLessThanOrEqual(1 + 1e-9);
      // Both are kept to four decimals: of a rest of .05 that is .001.
      if (Math.max(c.probability, table[n].probability) < 0.95) expect(Math.abs(c.runnerUpProbability / (1 - c.probability) - 0.6)).toBeLessThan(0.004);
    }
    some.calls.forEach((c, n) => expect(c.overlaps).toBe(some.calls.filter((d, m) => m !== n && d.onsetSec < c.offsetSec && c.onsetSec < d.offsetSec).length));
  });

  it('does not depend on the order of the calls, and gives the same every time', () => {
    const table = makeTable(8104, (z) => 1 + z);
    const sample = verify(table, 80, 1);
    const once = refitCalls(table, judgeSample(table, sample));
    expect(refitCalls(table, judgeSample(table, sample))).toEqual(once);
    expect(refitCalls([...table].reverse(), judgeSample([...table].reverse(), sample)).line).toEqual(once.line);
  });

  it('refuses few rows and says how many more it needs', () => {
    const table = makeTable(8105, (z) => z);
    expect(() => refitCalls(table, judgeSample(table, verify(table, 49, 1)))).toThrow(/too few judged rows to calibrate on; got 49; expected at least 50; judge 1 more/);
    expect(() => refitCalls(table.slice(0, 40), { kind: 'sample', rows: [] })).toThrow(/the table has fewer rows than that/);
  });
});

describe('judged rows', () => {
  it('of a sample stand for their stratum, whatever part of it was verified', () => {
    const table = makeTable(8106, (z) => z);
    const sample = verify(table, 100, 1).map((row, n) => (n < 60 ? row : { ...row, bird: '' }));
    const { kind, rows } = judgeSample(table, sample);
    expect([kind, rows.length]).toEqual(['sample', 60]);
    expect(rows.reduce((s, r) => s + r.weight, 0)).toBeCloseTo(table.length, 6);
  });

  it('of a stretch are right where a label of the same bird starts there, and wrong where there is none', () => {
    const row = (callId: number, bird: string, onsetSec: number): CallRow => ({ callId, bird, onsetSec, offsetSec: onsetSec + 0.1, onsetUtc: '', probability: 0.9, track: bird, levelDb: 0, snrDb: 0, peakHz: 0, overlaps: 0, runnerUp: '', runnerUpProbability: NaN });
    const label = (bird: string, onsetSec: number) => ({ bird, onsetSec, offsetSec: onsetSec + 0.1, extra: {} });
    const calls = [row(1, 'red', 1), row(2, 'red', 11), row(3, 'blue', 12), row(4, 'none', 13), row(5, 'red', 14), row(6, 'red', 25)];
    const judged = judgeStretch(calls, [label('red', 11.01), label('red', 12), label('none', 13.02), label('red', 1)], { fromSec: 10, toSec: 20 });
    expect(judged).toEqual({ kind: 'stretch', rows: [[false, true], [false, false], [true, true], [false, false]].map(([isUntagged, isRight]) => ({ probability: 0.9, isUntagged, isRight, weight: 1 })) });
    expect(() => judgeStretch(calls, [label('red', 1)], { fromSec: 10, toSec: 20 })).toThrow(/none lies in the stretch/);
  });
});

describe('measureForecastErrors', () => {
  it('agrees with the plain measures where weights are equal, and with copies of rows where they are whole', () => {
    const random = new RandomWords(3);
    const rows = Array.from({ length: 200 }, () => ({ probability: 0.5 + random.nextBelow(499) / 1000, isRight: random.nextUnit() < 0.8, weight: 1 + random.nextBelow(3) }));
    const copies = rows.flatMap((r) => Array.from({ length: r.weight }, () => ({ ...r, weight: 1 })));
    const errors = measureForecastErrors(rows);
    const plain = measureForecastErrors(copies);
    for (const key of ['logLoss', 'brier', 'calibrationError', 'claimed'] as const) expect(errors[key]).toBeCloseTo(plain[key], 12);
    expect(plain.calibrationError).toBeCloseTo(expectedCalibrationError(copies.map((r) => ({ probability: r.probability, correct: r.isRight }))), 12);
    expect(plain.logLoss).toBeCloseTo(copies.reduce((s, r) => s - Math.log(r.isRight ? r.probability : 1 - r.probability), 0) / copies.length, 12);
  });
});
