import { beforeAll, describe, expect, it } from 'vitest';
import { buildNetwork } from '../../../src/analysis/network/build-network.js';
import type { Network } from '../../../src/analysis/network/build-network.js';
import { compareNetworks } from '../../../src/analysis/network/compare-networks.js';
import { formatNetworkFiles } from '../../../src/analysis/network/format-tables.js';
import { setAsideSharedSounds } from '../../../src/analysis/network/shared-sounds.js';
import type { CallRow } from '../../../src/schema/rows.js';
import { Dice, fullTracks, simulateCalls, toCallRows } from './simulate-calls.js';
import type { ReplyRule } from './simulate-calls.js';

const birds = ['ash', 'birch', 'cedar', 'dogwood'];
const HOURS = 3;
const durationSec = HOURS * 3600;
const quick = { surrogates: 999, draws: 40, thresholds: [] };
const rules: ReplyRule[] = [
  { caller: 'ash', replier: 'birch', probability: 0.4, medianSec: 0.2, spreadSec: 0.03 },
  { caller: 'birch', replier: 'cedar', probability: 0.3, medianSec: 0.15, spreadSec: 0.02 },
  { caller: 'dogwood', replier: 'ash', probability: 0.2, medianSec: 0.3, spreadSec: 0.04 },
];
const edgeOf = (n: Network, caller: string, replier: string): Network['edges'][number] => n.edges.find((e) => e.caller === caller && e.replier === replier)!;
const listEdges = (n: Network, kind = 'reply'): string[] => n.edges.filter((e) => e.kind === kind).map((e) => `${e.caller} ${e.replier}`);
const steady = { birds, durationSec, rate: () => 0.05, mostRate: 0.05, bout: 0.3 };

describe('a known network', () => {
  let network: Network;
  beforeAll(() => {
    network = buildNetwork({ calls: toCallRows(simulateCalls({ ...steady, rules, seed: 1 })), tracks: fullTracks(birds, durationSec), bonds: [['ash', 'birch'], ['cedar', 'birch']] }, { ...quick, thresholds: [0.5, 0.99] });
  });

  it('is found, edge by edge, and nothing else', () => {
    expect(listEdges(network)).toEqual(['ash birch', 'birch cedar', 'dogwood ash']);
    expect(network.nodes.find((n) => n.bird === 'ash')).toMatchObject({ outDegree: 1, inDegree: 1 });
  });

  it('has the reply probabilities and latencies that were put in', () => {
    for (const rule of rules) {
      const e = edgeOf(network, rule.caller, rule.replier);
      // Own bouts of the replier and of the caller add a little within the window: a tenth of the probability and three standard errors.
      const error = Math.sqrt((rule.probability * (1 - rule.probability)) / e.calls);
      expect(Math.abs(e.excess - rule.probability)).toBeLessThan(0.1 * rule.probability + 3 * error);
      // Chance replies, evenly spread, pull the median towards the middle of the window.
      expect(Math.abs(e.latencyMedianSec - rule.medianSec)).toBeLessThan(0.025);
      expect(e.excessLow).toBeLessThan(e.excess);
      expect(e.excessHigh).toBeGreaterThan(e.excess);
      expect(e.rateRatioLow).toBeGreaterThan(1.2);
    }
  });

  it('tells a chain from a reply: cedar answers birch, not ash', () => {
    const chain = edgeOf(network, 'ash', 'cedar');
    expect(chain.q).toBeLessThan(0.05);
    expect(chain.kind).toBe('pairwise');
    // Net of birch's calls little is left of what cedar does after ash: less than a quarter, as logarithm, of what ash does to birch.
    expect(Math.log(chain.rateRatio)).toBeLessThan(Math.log(edgeOf(network, 'ash', 'birch').rateRatio) / 4);
  });

  it('correlogram peaks at the latency and reply bins add up to the replies', () => {
    const bins = network.latencies.filter((b) => b.caller === 'ash' && b.replier === 'birch');
    const peak = bins.reduce((best, b) => (b.pairs > best.pairs ? b : best));
    expect(Math.abs(peak.lagSec + 0.01 - 0.2)).toBeLessThan(0.03);
    expect(bins.reduce((s, b) => s + b.firstReplies, 0)).toBe(edgeOf(network, 'ash', 'birch').replies);
  });

  it('is told at every threshold, and no call is left at one above all', () => {
    expect(network.thresholds.filter((m) => m.threshold === 0.5).map((m) => m.replies)).toEqual(network.edges.map((e) => e.replies));
    expect(network.thresholds.filter((m) => m.threshold === 0.99).every((m) => m.calls === 0 && Number.isNaN(m.q))).toBe(true);
  });

  it('shows turn-taking and pair bonds', () => {
    const turn = network.turns.find((t) => t.birdA === 'ash' && t.birdB === 'birch')!;
    expect(turn.index).toBeGreaterThan(0.2);
    expect(turn.p).toBeLessThan(0.05);
    expect(network.bonds).toMatchObject({ bondedPairs: 2, permutations: 24, isExact: true });
    expect(network.bonds!.bondedMean).toBeGreaterThan(network.bonds!.otherMean);
  });

  it('is like another study of the same birds and unlike one with another network', () => {
    const again = buildNetwork({ calls: toCallRows(simulateCalls({ ...steady, rules, seed: 2 })), tracks: fullTracks(birds, durationSec) }, quick);
    const other = buildNetwork({ calls: toCallRows(simulateCalls({ ...steady, rules: [{ caller: 'cedar', replier: 'dogwood', probability: 0.4, medianSec: 0.2, spreadSec: 0.03 }], seed: 3 })), tracks: fullTracks(birds, durationSec) }, quick);
    const alike = compareNetworks(network.edges, again.edges, 999, 1);
    expect(alike.statistic).toBeGreaterThan(0.95);
    expect(alike.p).toBeCloseTo(1 / 24, 12);
    const unlike = compareNetworks(network.edges, other.edges, 999, 1);
    expect(unlike.p).toBeGreaterThan(0.1);
    expect(unlike.differences.find((d) => d.caller === 'cedar' && d.replier === 'dogwood')!.q).toBeLessThan(0.01);
    expect(alike.differences.filter((d) => d.q < 0.01)).toEqual([]);
  });

  it('gives the same bytes again, and others with another seed', () => {
    const world = { ...steady, durationSec: 1800, rules, seed: 4 };
    const build = (seed: number): string => String(formatNetworkFiles(buildNetwork({ calls: toCallRows(simulateCalls(world)) }, { ...quick, seed }))['network.csv']);
    expect(build(1)).toBe(build(1));
    expect(build(1)).not.toBe(build(2));
  });
});

describe('no false edges', () => {
  it.each([1, 2, 3])('unrelated birds with bouts and hours of day (draw %i)', (seed) => {
    const rate = (_: string, sec: number): number => 0.06 * (1 + 0.9 * Math.cos((2 * Math.PI * sec) / durationSec));
    const n = buildNetwork({ calls: toCallRows(simulateCalls({ ...steady, rate, mostRate: 0.12, seed: 20 + seed })), tracks: fullTracks(birds, durationSec) }, quick);
    expect(n.edges.filter((e) => e.kind !== 'none').map((e) => [e.caller, e.replier, e.kind])).toEqual([]);
  });

  /** All birds call twenty times as much in bursts of 10 s that come about once in 70 s. */
  function driveBursts(seed: number): (bird: string, sec: number) => number {
    const dice = new Dice(seed);
    const isOn = new Uint8Array(durationSec);
    for (let t = 0; t < durationSec; t += 10 + dice.wait(1 / 60)) isOn.fill(1, Math.floor(t), Math.floor(t) + 10);
    return (_, sec) => (isOn[Math.floor(sec)] ? 0.4 : 0.02);
  }

  it.each([1, 2])('shared bursts make none, though chance by shifts alone would (draw %i)', (seed) => {
    const n = buildNetwork({ calls: toCallRows(simulateCalls({ ...steady, rate: driveBursts(seed), mostRate: 0.4, seed: 30 + seed })), tracks: fullTracks(birds, durationSec) }, quick);
    expect(n.edges.every((e) => e.pShift < 0.01 && e.replyProbability > 1.5 * e.chanceShift)).toBe(true);
    expect(n.edges.filter((e) => e.kind !== 'none').map((e) => [e.caller, e.replier, e.kind])).toEqual([]);
  });

  it('true edges are found in the midst of shared bursts', () => {
    const n = buildNetwork({ calls: toCallRows(simulateCalls({ ...steady, rate: driveBursts(7), mostRate: 0.4, rules: rules.slice(0, 2), seed: 41 })), tracks: fullTracks(birds, durationSec) }, quick);
    expect(listEdges(n)).toEqual(['ash birch', 'birch cedar']);
  });
});

describe('attribution errors', () => {
  /** Each call of birch is reported once more for dogwood, up to 12 ms later and with less certainty. */
  function addGhosts(rows: CallRow[]): CallRow[] {
    const dice = new Dice(3);
    const ghosts = rows.filter((r) => r.bird === 'birch').map((r) => ({ ...r, bird: 'dogwood', probability: 0.85, onsetSec: r.onsetSec + 0.012 * dice.unit() }));
    return [...rows, ...ghosts].sort((a, b) => a.onsetSec - b.onsetSec).map((r, k) => ({ ...r, callId: k + 1 }));
  }
  const calls = toCallRows(simulateCalls({ ...steady, rules: rules.slice(0, 2), seed: 50 }));

  it('ghosts of one sound make no edge; without the rule for shared sounds they would', () => {
    const rows = addGhosts(calls);
    const n = buildNetwork({ calls: rows, tracks: fullTracks(birds, durationSec) }, { ...quick, threshold: 0.8 });
    expect(listEdges(n)).toEqual(['ash birch', 'birch cedar']);
    expect(n.edges.filter((e) => (e.caller === 'dogwood' || e.replier === 'dogwood') && e.kind !== 'none')).toEqual([]);
    expect(n.counts.sharedSound).toBeGreaterThanOrEqual(calls.filter((c) => c.bird === 'birch').length);
    const naive = buildNetwork({ calls: rows.map((r) => ({ ...r, offsetSec: r.onsetSec + 1e-6 })), tracks: fullTracks(birds, durationSec) }, { ...quick, threshold: 0.8 });
    expect([...listEdges(naive), ...listEdges(naive, 'pairwise')]).toEqual(expect.arrayContaining(['ash dogwood', 'dogwood cedar']));
  });

  it('calls given to the wrong bird make no edge as large as they could feign; the probabilities say how large', () => {
    const dice = new Dice(9);
    // One in six calls of birch stands as dogwood's, and says that it may be birch's.
    const rows = calls.map((c) => (c.bird === 'birch' && dice.unit() < 1 / 6
      ? { ...c, bird: 'dogwood', probability: 0.82, runnerUp: 'birch', runnerUpProbability: 0.18 }
      : c.bird === 'dogwood' ? { ...c, probability: 0.82, runnerUp: 'birch', runnerUpProbability: 0.18 } : c));
    const n = buildNetwork({ calls: rows, tracks: fullTracks(birds, durationSec) }, { ...quick, threshold: 0.8 });
    expect(edgeOf(n, 'ash', 'birch').kind).toBe('reply');
    const feigned = edgeOf(n, 'dogwood', 'cedar');
    expect(feigned.q).toBeLessThan(0.05);
    expect(feigned.leak).toBeGreaterThan(0.02);
    expect(feigned.kind).toBe('none');
    // Said to be sure, the same table would give the edge: the guard is the probability, not the number of calls.
    const sure = buildNetwork({ calls: rows.map((r) => ({ ...r, probability: 0.99, runnerUp: '', runnerUpProbability: NaN })), tracks: fullTracks(birds, durationSec) }, { ...quick, threshold: 0.8 });
    expect(['reply', 'pairwise']).toContain(edgeOf(sure, 'dogwood', 'cedar').kind);
  });

  it('sets aside the less sure of two calls that are one sound, never both, and leaves true overlaps', () => {
    const row = (callId: number, bird: string, onsetSec: number, offsetSec: number, probability: number, peakHz = 3000): CallRow =>
      ({ ...calls[0], callId, bird, onsetSec, offsetSec, probability, peakHz });
    const { kept, setAside } = setAsideSharedSounds([
      row(1, 'ash', 1, 1.1, 0.9), row(2, 'birch', 1.01, 1.1, 0.8), row(3, 'cedar', 1.02, 1.1, 0.7),
      row(4, 'ash', 2, 2.3, 0.9), row(5, 'birch', 2.1, 2.25, 0.8, 3050), row(6, 'cedar', 2.12, 2.28, 0.8, 4200),
      row(7, 'ash', 3, 3.1, 0.9), row(8, 'birch', 3.05, 3.4, 0.6), row(9, 'birch', 4, 4.1, 0.5), row(10, 'birch', 4.01, 4.1, 0.5),
    ], 0.03);
    expect(setAside.map((c) => c.callId)).toEqual([2, 3, 5]);
    expect(kept.map((c) => c.callId)).toEqual([1, 4, 6, 7, 8, 9, 10]);
  });
});

describe('what is left out', () => {
  it('excluded times are no time, and are told', () => {
    const calls = toCallRows(simulateCalls({ ...steady, rules, seed: 60 }));
    const excluded = [{ bird: 'ash', startSec: 0, endSec: 3600, reason: 'fitting' }, { bird: '', startSec: 7200, endSec: 7500, reason: 'door' }];
    const n = buildNetwork({ calls, tracks: fullTracks(birds, durationSec), excluded }, { ...quick, surrogates: 99, draws: 0 });
    const outside = calls.filter((c) => c.bird === 'ash' && c.onsetSec >= 3600 && !(c.onsetSec >= 7200 && c.onsetSec < 7500));
    expect(n.nodes.find((x) => x.bird === 'ash')!.observedSec).toBe(durationSec - 3900);
    expect(edgeOf(n, 'ash', 'birch').calls).toBeLessThanOrEqual(outside.length);
    expect(edgeOf(n, 'ash', 'birch').calls).toBeGreaterThan(outside.length * 0.95);
    expect(n.excluded).toEqual([
      { bird: 'ash', reason: 'fitting', windows: 1, sec: 3600, calls: calls.filter((c) => c.bird === 'ash' && c.onsetSec < 3600).length },
      { bird: '', reason: 'door', windows: 1, sec: 300, calls: calls.filter((c) => c.onsetSec >= 7200 && c.onsetSec < 7500).length },
    ]);
  });

  it('refuses what cannot be answered in one line', () => {
    const [call] = toCallRows([{ bird: 'ash', onsetSec: 1 }]);
    expect(() => buildNetwork({ calls: [call] })).toThrow(/without two birds; got ash/);
    expect(() => buildNetwork({ calls: [call, { ...call, bird: 'birch' }], excluded: [{ bird: 'elm', startSec: 0, endSec: 1, reason: '' }] })).toThrow(/a bird that is in no table; got "elm"/);
    expect(() => buildNetwork({ calls: [call] }, { toSec: 0.01 })).toThrow(/toSec/);
    expect(() => buildNetwork({ calls: [call] }, { jitterSec: 1 })).toThrow(/jitterSec.*at least 2/);
  });

  it('two birds with a call each give rows, not edges', () => {
    const n = buildNetwork({ calls: toCallRows([{ bird: 'ash', onsetSec: 1 }, { bird: 'birch', onsetSec: 30 }]) }, quick);
    expect(n.edges.map((e) => [e.kind, e.calls])).toEqual([['none', 1], ['none', 1]]);
    expect(n.withoutRegression).toEqual(['ash', 'birch']);
  });
});
