import { describe, expect, it } from 'vitest';
import { buildNetwork } from '../../../src/analysis/network/build-network.js';
import type { Network } from '../../../src/analysis/network/build-network.js';
import { weighExplainingCalls } from '../../../src/analysis/network/explaining-calls.js';
import { measureIndirectPaths } from '../../../src/analysis/network/indirect-paths.js';
import type { PairMeasure } from '../../../src/analysis/network/measure-pair.js';
import type { CallRow } from '../../../src/schema/rows.js';
import { Dice, fullTracks, simulateCalls, toCallRows } from './simulate-calls.js';
import type { ReplyRule } from './simulate-calls.js';

const birds = ['ash', 'birch', 'cedar', 'dogwood'];
const HOURS = 6;
const durationSec = HOURS * 3600;
const quick = { surrogates: 999, draws: 40, thresholds: [] };
const rule = (caller: string, replier: string, probability: number, medianSec = 0.15): ReplyRule => ({ caller, replier, probability, medianSec, spreadSec: 0.03 });
const chain = [rule('ash', 'birch', 0.5), rule('birch', 'cedar', 0.5)];
const edgeOf = (n: Network, caller: string, replier: string): Network['edges'][number] => n.edges.find((e) => e.caller === caller && e.replier === replier)!;

/** Rows of which a share is missing and another share doubtful, each with a probability that is the truth. */
function report(rules: ReplyRule[], missed: number, doubtful: number, seed: number): CallRow[] {
  const dice = new Dice(seed + 1000);
  const calls = simulateCalls({ birds, durationSec, rate: () => 0.04, mostRate: 0.04, rules, seed });
  const rows = toCallRows(calls.filter(() => dice.unit() >= missed), (call, row) => {
    row.peakHz = 2500 + 2000 * dice.unit();
    if (dice.unit() >= doubtful) return;
    const others = birds.filter((b) => b !== call.bird);
    const other = others[Math.floor(others.length * dice.unit())];
    const isRight = dice.unit() < 0.85;
    Object.assign(row, { bird: isRight ? call.bird : other, runnerUp: isRight ? other : call.bird, probability: 0.85, runnerUpProbability: 0.15 });
  });
  return rows;
}
const build = (rows: CallRow[], options = {}): Network => buildNetwork({ calls: rows, tracks: fullTracks(birds, durationSec) }, { ...quick, ...options });

describe('the ends of a chain', () => {
  it('are no edge where calls of the bird between them are missing or doubtful, and that bird is named', () => {
    const n = build(report(chain, 0.08, 0.2, 3));
    expect(n.edges.filter((e) => e.kind === 'reply').map((e) => `${e.caller} ${e.replier}`)).toEqual(['ash birch', 'birch cedar']);
    const ends = edgeOf(n, 'ash', 'cedar');
    expect(ends).toMatchObject({ kind: 'pairwise', through: 'birch' });
    // Of all replies of cedar to ash most are in the path that was put in: 0.5 times 0.5, of calls above the threshold 0.8 of each.
    expect(Math.abs(ends.indirectExcess - 0.25 * 0.8)).toBeLessThan(0.04);
  });

  it('would be one if nothing were taken to be missing', () => {
    const rows = report(chain, 0.3, 0, 3);
    expect(edgeOf(build(rows, { missedShare: 0 }), 'ash', 'cedar')).toMatchObject({ kind: 'reply', through: '', rateRatioNeeded: 1.5 });
    expect(edgeOf(build(rows, { missedShare: 0.3 }), 'ash', 'cedar')).toMatchObject({ kind: 'pairwise', through: 'birch' });
  });

  it('keep no influence where all calls are known', () => {
    const ends = edgeOf(build(report(chain, 0, 0, 3)), 'ash', 'cedar');
    expect(ends.excess).toBeGreaterThan(0.15);
    expect(ends.rateRatioLow).toBeLessThan(1.2);
    expect(ends.rateRatioHigh).toBeGreaterThan(0.8);
  });

  it.each([0.3, 0.15])('are one where cedar answers ash too, %d of its calls', (probability) => {
    const n = build(report([...chain, rule('ash', 'cedar', probability, 0.25)], 0.08, 0.2, 4));
    expect(edgeOf(n, 'ash', 'cedar').kind).toBe('reply');
  });

  it('nor are two birds that both answer a third, one after the other', () => {
    const n = build(report([rule('ash', 'birch', 0.5, 0.12), rule('ash', 'cedar', 0.5, 0.3)], 0.08, 0.2, 5));
    expect(edgeOf(n, 'birch', 'cedar')).toMatchObject({ kind: 'pairwise', through: 'ash' });
    expect([edgeOf(n, 'ash', 'birch').kind, edgeOf(n, 'ash', 'cedar').kind]).toEqual(['reply', 'reply']);
  });
});

describe('what paths over a third bird give', () => {
  const measure = (caller: string, replier: string, calls: number, replierCalls: number, excess: number): PairMeasure => ({ caller, replier, calls, replierCalls, excess, chanceShift: 0.02 }) as PairMeasure;
  const whole = [{ startSec: 0, endSec: 1000 }];
  const heard = new Map([['a', whole], ['b', whole], ['c', whole]]);
  const calls = new Map([['a', 100], ['b', 50], ['c', 80]]);
  const pairs = [measure('a', 'b', 100, 50, 0.2), measure('b', 'c', 50, 80, 0.4), measure('a', 'c', 100, 80, 0.1), measure('b', 'a', 50, 100, 0.1), measure('c', 'a', 80, 100, -0.1), measure('c', 'b', 80, 50, NaN)];
  const of = (found: ReturnType<typeof measureIndirectPaths>) => found[2];

  it('is the sum of chain and common cause, by hand', () => {
    // Chain 0.2 x 0.4; common cause 0.1 x 0.4 for each of 50 calls of b, per call of a. One in five missing: a quarter as many as are there.
    const paths = of(measureIndirectPaths(pairs, calls, calls, heard, 0.2));
    expect(paths.excess).toBeCloseTo(0.08 + 0.02, 12);
    expect(paths.hidden).toBeCloseTo(0.1 / 4, 12);
    // 20 of the 80 calls of c answer b.
    expect(paths.base).toBeCloseTo(0.02 * 0.75, 12);
    expect(paths.through).toBe('b');
  });

  it('counts doubtful calls of the bird between, and the time in which its track was not heard', () => {
    const paths = of(measureIndirectPaths(pairs, calls, new Map([...calls, ['b', 75]]), new Map([...heard, ['b', [{ startSec: 0, endSec: 800 }]]]), 0));
    expect(paths.excess).toBeCloseTo(0.15, 12);
    expect(paths.hidden).toBeCloseTo(0.15 / 4, 12);
  });

  it('is nothing where nothing leads over another bird', () => {
    expect(measureIndirectPaths([measure('a', 'c', 100, 80, 0.1)], calls, calls, heard, 0.2)[0]).toEqual({ excess: 0, hidden: 0, base: 0.02, through: '' });
  });
});

it('calls below the threshold explain with their probability, for the runner-up too', () => {
  const [row] = toCallRows([{ bird: 'ash', onsetSec: 1 }]);
  const kept = [
    { ...row, probability: 0.97, runnerUp: 'birch', runnerUpProbability: 0.03 },
    { ...row, onsetSec: 2, probability: 0.7, runnerUp: 'birch', runnerUpProbability: 0.25 },
    { ...row, onsetSec: 3, bird: 'none', probability: 0.5, runnerUp: 'ash', runnerUpProbability: 0.05 },
  ];
  const trains = weighExplainingCalls({ kept, setAside: [{ ...row, bird: 'birch', onsetSec: 4 }, { ...row, onsetSec: 5, probability: 0.6 }] }, ['ash', 'birch'], 0.95);
  expect(trains.map((t) => [t.bird, [...t.onsetSec], [...t.weight]])).toEqual([
    ['ash', [1, 2], [1, 0.7]], ['birch', [2], [0.25]], ['none', [3], [0.5]], ['none', [4], [1]],
  ]);
});
