import { describe, expect, it } from 'vitest';
import { diarizationSegments, measureDiarization } from '../../src/score/diarization.js';
import type { DiarizationResult } from '../../src/score/diarization.js';
import type { TimedCall } from '../../src/score/types.js';
import { makeRandomTables, shuffle } from './random-tables.js';

const call = (bird: string, onsetSec: number, offsetSec: number): TimedCall => ({ bird, onsetSec, offsetSec });
const times = (r: DiarizationResult): number[] => [r.scoredSec, r.missedSec, r.falseAlarmSec, r.confusedSec];

describe('measureDiarization', () => {
  // Worked by hand; the error rates are those that NIST's md-eval script gives for these segments (evaluated 0 to 45 s).
  const labels = [call('A', 0, 10), call('B', 12, 20), call('C', 18, 24), call('A', 30, 40)];
  const calls = [call('x', 1, 11), call('y', 12, 19), call('z', 19, 25), call('x', 30, 36), call('y', 36, 40)];
  const options = { mapping: 'optimal', fromSec: 0, toSec: 45 } as const;

  it.each([
    [{ collarSec: 0 }, [34, 3, 2, 4], 26.47],
    [{ collarSec: 0.25 }, [31, 2.25, 1.5, 3.75], 24.19],
    [{ collarSec: 0.5 }, [28, 1.5, 1, 3.5], 21.43],
    [{ collarSec: 0.25, skipOverlap: true }, [28, 0.75, 1.5, 3.75], 21.43],
  ])('gives the figures of the NIST script with %j', (extra, expected, percent) => {
    const result = measureDiarization(calls, labels, { ...options, ...extra });
    times(result).forEach((value, i) => expect(value).toBeCloseTo(expected[i], 9));
    expect(Math.abs(100 * result.errorRate - percent)).toBeLessThan(0.005);
    expect(Object.fromEntries(result.mapping)).toEqual({ x: 'A', y: 'B', z: 'C' });
  });

  it('takes names as given unless a mapping is asked for', () => {
    expect(measureDiarization(calls, labels).errorRate).toBeCloseTo((34 + 2) / 34, 9);
    const named = calls.map((c) => ({ ...c, bird: { x: 'A', y: 'B', z: 'C' }[c.bird]! }));
    expect(measureDiarization(named, labels).errorRate).toBeCloseTo(9 / 34, 12);
  });

  it('maps so that the common time is largest, not name by name', () => {
    // x has 6 s with A and 5 s with B, y has 5 s with A and none with B: greedy (x-A) keeps 6 s, the best mapping 10 s.
    const reference = [call('A', 0, 11), call('B', 20, 25)];
    const system = [call('x', 0, 6), call('y', 6, 11), call('x', 20, 25)];
    const result = measureDiarization(system, reference, { mapping: 'optimal' });
    expect(Object.fromEntries(result.mapping)).toEqual({ x: 'B', y: 'A' });
    expect(result.errorRate).toBeCloseTo(6 / 16, 12);
  });

  it('is 0 for a perfect table, 1 for an empty one, undefined without labels', () => {
    expect(measureDiarization(labels, labels).errorRate).toBe(0);
    expect(measureDiarization([], labels).errorRate).toBe(1);
    expect(measureDiarization(calls, []).errorRate).toBeNaN();
  });

  it('counts calls of one bird that overlap each other once', () => {
    const twice = [call('A', 0, 2), call('A', 1, 3)];
    expect(times(measureDiarization(twice, [call('A', 0, 3)]))).toEqual([3, 0, 0, 0]);
    expect(times(measureDiarization([call('A', 0, 3)], twice))).toEqual([3, 0, 0, 0]);
  });

  it('agrees with counting milliseconds one by one', () => {
    const { calls: reports, labels: truth } = makeRandomTables(3, 120, 10);
    const counted = [0, 0, 0, 0];
    const inMs = (rows: TimedCall[]): [string, number, number][] =>
      rows.map((r) => [r.bird, Math.round(1000 * r.onsetSec), Math.round(1000 * r.offsetSec)]);
    const [system, reference] = [inMs(reports), inMs(truth)];
    for (let ms = 0; ms < 11000; ms++) {
      const active = (rows: [string, number, number][]): Set<string> => new Set(rows.filter(([, on, off]) => on <= ms && ms < off).map(([bird]) => bird));
      const [ref, sys] = [active(reference), active(system)];
      const correct = [...sys].filter((bird) => ref.has(bird)).length;
      counted[0] += ref.size;
      counted[1] += Math.max(0, ref.size - sys.size);
      counted[2] += Math.max(0, sys.size - ref.size);
      counted[3] += Math.min(ref.size, sys.size) - correct;
    }
    const result = measureDiarization(reports, truth);
    times(result).forEach((value, i) => expect(value).toBeCloseTo(counted[i] / 1000, 6));
    expect(counted.every((n) => n > 100)).toBe(true);
    const shuffled = diarizationSegments(shuffle(reports, 1), shuffle(truth, 2), {});
    expect(shuffled).toEqual(diarizationSegments(reports, truth, {}));
  });
});
