import { describe, expect, it } from 'vitest';
import { formatVerified } from '../../src/score/format-verified.js';
import { estimateShare } from '../../src/score/intervals.js';
import { RandomWords } from '../../src/score/random.js';
import { drawSample, planSampleSize } from '../../src/score/sample-calls.js';
import { scoreVerified } from '../../src/score/score-verified.js';
import type { VerifiedCall } from '../../src/score/score-verified.js';
import { estimateStratifiedShare } from '../../src/score/stratified.js';
import { shuffle } from './random-tables.js';

interface TruthCall { callId: number; bird: string; onsetSec: number; offsetSec: number; probability: number; truth: string }

/** A table like a real one: most rows sure, some in doubt. `truthOf` turns the stated probability into the true one. */
function makeTable(seed: number, count: number, truthOf: (p: number) => number): TruthCall[] {
  const random = new RandomWords(seed);
  return Array.from({ length: count }, (_, i) => {
    const u = random.nextUnit();
    const probability = random.nextBelow(5) > 0 ? 1 - 0.02 * u * u : 0.2 + 0.8 * u;
    const isRight = random.nextUnit() < truthOf(probability);
    const bird = 'ABC'[random.nextBelow(3)];
    return { callId: i, bird, onsetSec: i, offsetSec: i + 0.1, probability, truth: isRight ? bird : random.nextBelow(2) ? 'no_call' : 'D' };
  });
}

function verify(table: TruthCall[], count: number, seed: number, first = Infinity): VerifiedCall[] {
  return drawSample(table, count, seed).drawn.map(({ callId, stratum, weight }, i) =>
    ({ callId, row: i + 2, bird: i < first ? table[callId].truth : '', onsetSec: table[callId].onsetSec, stratum, weight }));
}

describe('drawSample', () => {
  const table = makeTable(1, 3000, (p) => p);

  it('draws each call once, as many as asked, and the weights add up to the table', () => {
    for (const count of [2, 7, 50, 333, 2999, 3000, 5000]) {
      const { drawn, strata } = drawSample(table, count);
      expect(drawn).toHaveLength(Math.min(count, 3000));
      expect(new Set(drawn.map((d) => d.callId)).size).toBe(drawn.length);
      expect(drawn.reduce((sum, d) => sum + d.weight, 0)).toBeCloseTo(3000, 6);
      expect(strata.reduce((sum, s) => sum + s.calls, 0)).toBe(3000);
      for (const s of strata) expect(drawn.filter((d) => d.stratum === s.stratum)).toHaveLength(s.drawn);
    }
  });

  it('draws the doubtful more often than the sure', () => {
    const { strata } = drawSample(table, 200);
    const share = (s: (typeof strata)[number]): number => s.drawn / s.calls;
    expect(strata).toHaveLength(4);
    expect(share(strata[0])).toBeGreaterThan(2 * share(strata[3]));
    for (let i = 1; i < strata.length; i++) expect(strata[i].lowProbability).toBeGreaterThanOrEqual(strata[i - 1].highProbability);
  });

  it('repeats itself, whatever the order of the rows, and grows by adding', () => {
    const plan = drawSample(table, 100, 7);
    expect(drawSample(shuffle(table, 3), 100, 7)).toEqual(plan);
    expect(drawSample(table, 100, 8).drawn).not.toEqual(plan.drawn);
    const larger = new Set(drawSample(table, 200, 7).drawn.map((d) => d.callId));
    expect(plan.drawn.filter((d) => !larger.has(d.callId))).toEqual([]);
  });

  it('lets the strata take turns', () => {
    expect(drawSample(table, 100).drawn.slice(0, 20).map((d) => d.stratum)).toEqual([...Array(20).keys()].map((i) => (i % 4) + 1));
  });

  it('refuses an empty table and takes a tiny one whole', () => {
    expect(() => drawSample([], 10)).toThrow(/no call to draw from/);
    expect(drawSample(table.slice(0, 1), 10).drawn).toEqual([{ callId: 0, stratum: 1, weight: 1 }]);
  });

  it('plans the number that is expected to be enough', () => {
    for (const halfWidth of [0.05, 0.02]) {
      const number = planSampleSize(table, halfWidth);
      expect(drawSample(table, number).expectedHalfWidth).toBeLessThanOrEqual(halfWidth);
      expect(drawSample(table, Math.floor(0.8 * number)).expectedHalfWidth).toBeGreaterThan(halfWidth);
    }
    expect(planSampleSize(table, 1e-9)).toBe(3000);
  });
});

describe('estimateStratifiedShare', () => {
  it('with one stratum of a large table is the Wilson interval', () => {
    // Newcombe (1998) Statistics in Medicine 17, 857-872, Table I, method 3.
    const { value, low, high } = estimateStratifiedShare([{ size: 1e9, trials: 263, successes: 81 }]);
    expect(value).toBeCloseTo(81 / 263, 12);
    expect(Math.abs(low! - 0.2553)).toBeLessThan(5.001e-5);
    expect(Math.abs(high! - 0.3662)).toBeLessThan(5.001e-5);
  });

  it('weights strata by their size and is certain where all rows are verified', () => {
    const part = estimateStratifiedShare([{ size: 900, trials: 10, successes: 9 }, { size: 100, trials: 20, successes: 5 }]);
    expect(part.value).toBeCloseTo(0.9 * 0.9 + 0.1 * 0.25, 12);
    expect(part.low!).toBeLessThan(part.value!);
    expect(estimateStratifiedShare([{ size: 10, trials: 10, successes: 9 }])).toMatchObject({ value: 0.9, low: 0.9, high: 0.9 });
    expect(estimateStratifiedShare([{ size: 10, trials: 5, successes: 5 }, { size: 10, trials: 0, successes: 0 }]).value).toBeNull();
    expect(estimateStratifiedShare([]).value).toBeNull();
  });
});

describe('scoreVerified', () => {
  it('tells what is right above a probability only while strata are stretches of the table', () => {
    const table = makeTable(9, 400, (p) => p), sample = verify(table, 400, 1);
    const before = scoreVerified(table, sample);
    expect(before.isInOrder).toBe(true);
    for (const k of before.kept) {
      const above = table.filter((c) => c.probability >= k.fromProbability);
      expect(k.precision.value).toBeCloseTo(above.filter((c) => c.truth === c.bird).length / above.length, 12);
    }
    // The same rows with probabilities calibrated anew, calls of one bird by another rule.
    const again = table.map((c) => ({ ...c, probability: c.bird === 'A' ? c.probability / 2 : c.probability })), after = scoreVerified(again, sample);
    expect([after.isInOrder, after.kept]).toEqual([false, []]);
    expect(after.right).toEqual(before.right);
    after.strata.forEach((s, i) => {
      const own = sample.filter((r) => r.stratum === i + 1).map((r) => again[r.callId].probability);
      expect([s.lowProbability, s.highProbability]).toEqual([Math.min(...own), Math.max(...own)]);
    });
    expect(formatVerified(after)).toContain('Probabilities have changed since the sample was drawn');
  });

  it('covers the true share as often as it says, calibrated or not, complete or not', () => {
    const worlds: [(p: number) => number, number][] = [[(p) => p, Infinity], [(p) => p * p * p, Infinity], [(p) => p, 70]];
    for (const [truthOf, first] of worlds) {
      const table = makeTable(5, 2000, truthOf);
      const trueShare = table.filter((call) => call.truth === call.bird).length / table.length;
      let covered = 0;
      let sum = 0;
      for (let seed = 1; seed <= 200; seed++) {
        const { right } = scoreVerified(table, verify(table, 150, seed, first));
        if (right.low! <= trueShare && trueShare <= right.high!) covered++;
        sum += right.value!;
      }
      // Nominal .95; .90 is three standard errors of 200 rounds below.
      expect(covered / 200).toBeGreaterThan(0.9);
      // Unbiased: the mean of 200 rounds is within .01, above four standard errors here.
      expect(Math.abs(sum / 200 - trueShare)).toBeLessThan(0.01);
    }
  });

  it('needs fewer labels than a plain random sample', () => {
    const table = makeTable(6, 3000, (p) => p);
    const { right } = scoreVerified(table, verify(table, 200, 1));
    const plain = estimateShare(Math.round(200 * right.value!), 200);
    expect(right.high! - right.low!).toBeLessThan(0.8 * (plain.high! - plain.low!));
  });

  it('counts everything when everything is verified', () => {
    const table = makeTable(7, 120, (p) => p);
    const score = scoreVerified(table, verify(table, 120, 1));
    const share = (isCounted: (call: TruthCall) => boolean): number => table.filter(isCounted).length / 120;
    expect(score.right.value).toBeCloseTo(share((c) => c.truth === c.bird), 12);
    expect(score.noCall.value).toBeCloseTo(share((c) => c.truth === 'no_call'), 12);
    expect(score.otherBird.value).toBeCloseTo(share((c) => c.truth === 'D'), 12);
    expect(score.right.low).toBe(score.right.high);
    expect(score.claimed).toBeCloseTo(table.reduce((s, c) => s + c.probability, 0) / 120, 12);
    expect(score.kept[0]).toMatchObject({ keptShare: 1, fromProbability: Math.min(...table.map((c) => c.probability)) });
    for (const k of score.kept) {
      const kept = table.filter((c) => c.probability >= k.fromProbability);
      expect(k.keptShare).toBeCloseTo(kept.length / 120, 12);
      expect(k.precision.value).toBeCloseTo(kept.filter((c) => c.truth === c.bird).length / kept.length, 12);
    }
  });

  it('refuses a sample of another table, lost rows, twins and an untouched sample', () => {
    const table = makeTable(8, 200, (p) => p);
    const sample = verify(table, 40, 1);
    expect(() => scoreVerified(table.map((c) => ({ ...c, onsetSec: c.onsetSec + 0.5 })), sample)).toThrow(/row 2: the sample was not drawn from this call table/);
    expect(() => scoreVerified(table.slice(0, 5), sample)).toThrow(/not drawn from this call table/);
    expect(() => scoreVerified(table, sample.slice(1))).toThrow(/weights do not add up/);
    expect(() => scoreVerified(table, [...sample, sample[0]])).toThrow(/the same call twice/);
    expect(() => scoreVerified(table, verify(table, 40, 1, 0))).toThrow(/no row is verified yet/);
  });
});
