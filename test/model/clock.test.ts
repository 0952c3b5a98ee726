import { describe, expect, it } from 'vitest';
import { insertJumps, readOffset, readRatePpm, readUncertainty, toReference, type RecorderClock } from '../../src/model/clock.js';
import { collectBallots } from '../../src/model/clock-start.js';
import { fitTheilSen } from '../../src/model/clock-jumps.js';
import type { LagReadings } from '../../src/model/clock-readings.js';

const clock: RecorderClock = { knotSec: [0, 100, 200, 300], offsetSec: [2, 2.001, 2.003, 2.002], uncertaintySec: [1e-5, 2e-5, 2e-5, 4e-5] };

function makeReadings(rows: readonly [number, number, number, number][]): LagReadings {
  return {
    count: rows.length, tSec: Float64Array.from(rows, (r) => r[0]), from: Uint16Array.from(rows, (r) => r[1]), to: Uint16Array.from(rows, (r) => r[2]), lagMs: Float64Array.from(rows, (r) => r[3]), sigmaMs: new Float64Array(rows.length).fill(0.01), nearMs: new Float64Array(rows.length).fill(2),
  };
}

describe('recorder clock', () => {
  it('is linear between knots and goes on with the end slopes', () => {
    expect(readOffset(clock, 150)).toBeCloseTo(2.002, 12);
    expect(readOffset(clock, -100)).toBeCloseTo(1.999, 12);
    expect(readOffset(clock, 400)).toBeCloseTo(2.001, 12);
    expect(readRatePpm(clock, 150)).toBeCloseTo(20, 6);
    expect(readUncertainty(clock, 250)).toBeCloseTo(3e-5, 12);
    expect(readUncertainty(clock, 900)).toBe(4e-5);
  });

  it('turns file time back into reference time', () => {
    for (const t of [-50, 0, 33, 100, 199.9, 250, 1000]) expect(toReference(clock, t + readOffset(clock, t))).toBeCloseTo(t, 9);
  });

  it.each([-0.5, 0.25])('keeps a step of %s s between two knots, with file time never running backwards', (stepSec) => {
    const flat: RecorderClock = { knotSec: [0, 100, 200, 300], offsetSec: [1, 1.002, 1.004 + stepSec, 1.006 + stepSec], uncertaintySec: [1e-5, 1e-5, 1e-5, 1e-5] };
    const stepped = insertJumps(flat, [{ tSec: 150, stepSec, withinSec: 2 }]);
    expect(readOffset(stepped, 149.999)).toBeCloseTo(1.003, 5);
    expect(readOffset(stepped, 151)).toBeCloseTo(1.00302 + stepSec, 5);
    expect(readRatePpm(stepped, 150.0002)).toBeCloseTo(20, 6);
    expect(readRatePpm(stepped, 120)).toBeCloseTo(20, 6);
    let back = 0;
    for (let t = 140; t < 160; t += 0.001) back = Math.min(back, 0.001 + readOffset(stepped, t + 0.001) - readOffset(stepped, t));
    expect(back).toBeGreaterThan(-1e-9);
    for (const t of [100, 149, 152, 290]) expect(toReference(stepped, t + readOffset(stepped, t))).toBeCloseTo(t, 9);
    expect(readUncertainty(stepped, 150)).toBeCloseTo(Math.abs(stepSec) / 2, 6);
  });
});

describe('two-way exchange', () => {
  const BOTH = { first: new Set([0]), second: new Set([1]) };
  const nothing = { readMs: (): number => 0, rateSpanPpm: 0 };

  it('gives the offset and delay of the example times of RFC 5905 section 8', () => {
    // T1..T4 = 100.000, 100.230, 100.231, 100.061 s: theta = 0.2 s, delta = 0.06 s by the formulas of the section.
    const readings = makeReadings([[100, 0, 1, 230], [100.03, 1, 0, 100.061e3 - 100.231e3]]);
    const [ballot] = collectBallots(readings, [0, 1], BOTH, nothing, 0, 200);
    expect(ballot.halfDifference).toBeCloseTo(200, 9);
    expect(2 * ballot.halfSum).toBeCloseTo(60, 9);
  });

  it('cancels the distance of two birds', () => {
    // Offset 37.5 ms, distance 2 m, 343.2 m/s: lags by arithmetic.
    const travelMs = (2 / 343.2) * 1e3;
    const readings = makeReadings([[10, 0, 1, 37.5 + travelMs], [20, 1, 0, travelMs - 37.5]]);
    expect(readings.lagMs[0]).toBeCloseTo(43.327506, 6);
    expect(readings.lagMs[1]).toBeCloseTo(-31.672494, 6);
    const [ballot] = collectBallots(readings, [0, 1], BOTH, nothing, 0, 200);
    expect(ballot.halfDifference).toBeCloseTo(37.5, 9);
    expect((ballot.halfSum / 1e3) * 343.2).toBeCloseTo(2, 9);
  });
});

describe('Theil-Sen line', () => {
  it('agrees with the line that scipy.stats.theilslopes (method separate) gives, one point far off', () => {
    const line = fitTheilSen([1, 2, 3, 4, 5, 6, 7, 8, 9, 10], [3.1, 4.9, 7.2, 9.1, 10.8, 13.0, 15.1, 17.0, 40.0, 20.9]);
    expect(line.slope).toBeCloseTo(2, 12);
    expect(line.intercept).toBeCloseTo(0.9, 12);
  });

  it('takes no harm from one wrong offset of a drifting clock', () => {
    const x = Array.from({ length: 11 }, (_, k) => 60 * k);
    const y = x.map((t, k) => 0.25 + 12.5e-6 * t + (k === 3 ? 0.02 : 0));
    expect(fitTheilSen(x, y).slope).toBeCloseTo(12.5e-6, 15);
  });
});
