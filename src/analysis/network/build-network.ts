import { VolaryError } from '../../schema/errors.js';
import { listKnownBirds, refuseUnknownBirds } from '../exclusions/known-birds.js';
import { computeCorrelogram } from './correlogram.js';
import { sumWeightInside, weighExplainingCalls } from './explaining-calls.js';
import { fitInfluence } from './fit-influence.js';
import type { Influence } from './fit-influence.js';
import { measureIndirectPaths } from './indirect-paths.js';
import type { IndirectPaths } from './indirect-paths.js';
import { judgeEdges } from './judge-edges.js';
import type { NetworkEdge } from './judge-edges.js';
import { compareDays, measureDays } from './measure-days.js';
import type { DayLikeness, DayMeasure } from './measure-days.js';
import { buildGraph, measureGraph, measureNodes } from './measure-nodes.js';
import type { GraphMeasure, NodeMeasure } from './measure-nodes.js';
import { measureGaps } from './measure-gaps.js';
import { measurePairs, seedOf } from './measure-pair.js';
import type { PairMeasure } from './measure-pair.js';
import { findObservedTime, sumIntervals } from './observed-time.js';
import { testContrast } from './permute-birds.js';
import type { PermutationTest } from './permute-birds.js';
import { propagateErrors } from './propagate-errors.js';
import { findFirstReplies, lagMicros, splitByBlocks } from './replies.js';
import { readSettings } from './read-settings.js';
import { setAsideSharedSounds } from './shared-sounds.js';
import type { SharedSounds } from './shared-sounds.js';
import { buildTrains, listPairs } from './trains.js';
import type { Pair } from './trains.js';
import { measureTurnTaking } from './turn-taking.js';
import type { TurnTaking } from './turn-taking.js';
import type { ExcludedWindow, Interval, NetworkInput, NetworkSettings, OnProgress, Train, WeightedTrain } from './types.js';

/** One bin of the correlogram of an ordered pair. */
export interface LatencyBin {
  caller: string;
  replier: string;
  lagSec: number;
  pairs: number;
  expected: number;
  firstReplies: number;
}

/** A pair at another threshold of probability. */
export interface ThresholdMeasure extends PairMeasure { threshold: number }

export interface NetworkNode extends NodeMeasure { calls: number; observedSec: number }

export interface BondContrast extends PermutationTest { bondedPairs: number; bondedMean: number; otherMean: number }

export interface Network {
  settings: NetworkSettings;
  birds: string[];
  counts: { calls: number; used: number; belowThreshold: number; sharedSound: number; untagged: number; unobserved: number };
  excluded: { bird: string; reason: string; windows: number; sec: number; calls: number }[];
  /** The windows as they were given. */
  excludedWindows: readonly ExcludedWindow[];
  edges: NetworkEdge[];
  nodes: NetworkNode[];
  graph: GraphMeasure;
  turns: TurnTaking[];
  latencies: LatencyBin[];
  thresholds: ThresholdMeasure[];
  days: DayMeasure[];
  dayLikeness: DayLikeness[];
  bonds?: BondContrast;
  /** Birds whose calls are too few for the regression. */
  withoutRegression: string[];
}

/**
 * Builds the directed network of calls and replies from tables alone.
 *
 * Every ordered pair (caller, replier) is tested against circular shifts within blocks and against jitters of bouts, and by a regression of the replier's
 * calls on its own and all others' calls; an edge must stand out in all three and must be more than confusion of birds could feign.
 * @throws VolaryError 'bad-option' on settings that contradict each other, 'no-data' with fewer than two birds or no call.
 * @example buildNetwork({ calls, tracks, sounds }, { fromSec: 0.05, toSec: 0.5, seed: 1 })
 */
export function buildNetwork(input: NetworkInput, options: Partial<NetworkSettings> = {}, onProgress: OnProgress = () => {}): Network {
  const settings = readSettings(options);
  const birds = listBirds(input);
  const lastSec = input.calls.reduce((latest, c) => Math.max(latest, c.offsetSec), 0) + settings.toSec;
  const observed = findObservedTime(birds, lastSec, input.tracks ?? [], input.sounds ?? [], input.excluded ?? []);
  const shared = setAsideSharedSounds(input.calls, settings.sharedGapSec);
  const pairs = listPairs(birds, observed, settings);
  const trains = buildTrains(shared.kept, birds, observed, settings.threshold);
  const step = startSteps(onProgress, pairs.length * (1 + settings.thresholds.filter((t) => t !== settings.threshold).length) + birds.length + settings.draws + (birds.length * (birds.length - 1)) / 2);
  const measures = measurePairs(trains, pairs, settings, () => step('surrogates'));
  const dayOffsetSec = findDayOffset(input, settings);
  const explaining = weighExplainingCalls(shared, birds, settings.threshold);
  const influences = fitAll(trains, explaining, observed, settings, dayOffsetSec, () => step('regression'));
  const ranges = propagateErrors(shared.kept, trains, pairs, measures, observed, settings, () => step('draws'));
  const paths = findPaths(input, measures, trains, explaining, observed, lastSec, settings);
  const edges = judgeEdges(measures, influences, ranges, measureGaps(shared.kept, trains, pairs, settings), paths, settings);
  const graph = buildGraph(birds, edges.filter((e) => e.kind === 'reply').map((e) => ({ source: e.caller, target: e.replier, weight: e.excess })));
  const days = measureDays(trains, pairs, measures, settings, dayOffsetSec);
  return {
    settings, birds, edges,
    counts: countCalls(input, shared, trains, settings),
    excluded: describeExcluded(input), excludedWindows: input.excluded ?? [],
    nodes: measureNodes(graph).map((node, i) => ({ ...node, calls: trains[i].onsetSec.length, observedSec: sumIntervals(observed.get(node.bird)!) })),
    graph: measureGraph(graph),
    turns: measureTurnTaking(trains, pairs, settings, () => step('turn-taking')),
    latencies: pairs.flatMap((pair) => tabulateLatencies(trains, pair, settings)),
    thresholds: settings.thresholds.flatMap((threshold) => (threshold === settings.threshold ? measures
      : measurePairs(buildTrains(shared.kept, birds, observed, threshold), pairs, settings, () => step('thresholds'))).map((m) => ({ ...m, threshold }))),
    days, dayLikeness: compareDays(days),
    bonds: input.bonds ? contrastBonds(birds, edges, input.bonds, settings) : undefined,
    withoutRegression: birds.filter((b) => !influences.some((f) => f.replier === b)),
  };
}

function listBirds(input: NetworkInput): string[] {
  const birds = listKnownBirds(input.tracks ?? [], input.calls);
  if (birds.length < 2) throw new VolaryError('no-data', { what: 'no network without two birds', got: birds.join(', ') || 'none', expected: 'calls or tracks of at least two' });
  if (!input.calls.some((c) => c.bird !== 'none')) throw new VolaryError('no-data', { what: 'no call of any bird', expected: 'a table with calls' });
  refuseUnknownBirds(input.excluded ?? [], birds);
  for (const name of (input.bonds ?? []).flat()) {
    if (name !== '' && !birds.includes(name)) throw new VolaryError('bad-table', { what: 'a bird that is in no table', got: JSON.stringify(name), expected: birds.join(', ') });
  }
  return birds;
}

function startSteps(onProgress: OnProgress, total: number): (stage: string) => void {
  let done = 0;
  return (stage) => onProgress(stage, ++done, total);
}

/** Seconds from local midnight to the study's start, from the first call whose time of day is known; 0 where none is. */
function findDayOffset(input: NetworkInput, settings: NetworkSettings): number {
  const known = input.calls.find((c) => c.onsetUtc !== '');
  if (!known) return 0;
  const startSec = Math.round(Date.parse(known.onsetUtc) / 1000 - known.onsetSec) + settings.utcOffsetMin * 60;
  return ((startSec % 86400) + 86400) % 86400;
}

function fitAll(trains: readonly Train[], explaining: readonly WeightedTrain[], observed: ReadonlyMap<string, readonly Interval[]>, settings: NetworkSettings, dayOffsetSec: number, onBird: () => void): Influence[] {
  return trains.flatMap((replier, k) => {
    const sources = explaining.filter((t, i) => i !== k && t.onsetSec.length > 0);
    const influences = fitInfluence(replier, explaining[k], sources, observed.get(replier.bird)!, settings, seedOf(settings.seed + 3, k), dayOffsetSec);
    onBird();
    return influences;
  });
}

function findPaths(input: NetworkInput, measures: readonly PairMeasure[], trains: readonly Train[], explaining: readonly WeightedTrain[], observed: ReadonlyMap<string, readonly Interval[]>, lastSec: number, settings: NetworkSettings): IndirectPaths[] {
  const heard = findObservedTime(trains.map((t) => t.bird), lastSec, input.tracks ?? [], input.sounds ?? [], []);
  const sureCalls = new Map(trains.map((t) => [t.bird, t.onsetSec.length]));
  const tableCalls = new Map(trains.map((t, k) => [t.bird, sumWeightInside(explaining[k], observed.get(t.bird)!)]));
  return measureIndirectPaths(measures, sureCalls, tableCalls, heard, settings.missedShare);
}

function countCalls(input: NetworkInput, shared: SharedSounds, trains: readonly Train[], settings: NetworkSettings): Network['counts'] {
  const used = trains.reduce((n, t) => n + t.onsetSec.length, 0);
  const untagged = shared.kept.filter((c) => c.bird === 'none').length;
  const belowThreshold = shared.kept.filter((c) => c.bird !== 'none' && !(c.probability >= settings.threshold)).length;
  return { calls: input.calls.length, used, belowThreshold, sharedSound: shared.setAside.length, untagged, unobserved: shared.kept.length - untagged - belowThreshold - used };
}

function describeExcluded(input: NetworkInput): Network['excluded'] {
  const groups = new Map<string, Network['excluded'][number]>();
  for (const { bird, reason, startSec, endSec } of input.excluded ?? []) {
    const key = `${bird}\n${reason}`;
    const group = groups.get(key) ?? { bird, reason, windows: 0, sec: 0, calls: 0 };
    group.windows++;
    group.sec += endSec - startSec;
    group.calls += input.calls.filter((c) => (bird === '' || c.bird === bird) && c.onsetSec >= startSec && c.onsetSec < endSec).length;
    groups.set(key, group);
  }
  return [...groups.values()];
}

function tabulateLatencies(trains: readonly Train[], pair: Pair, settings: NetworkSettings): LatencyBin[] {
  const a = splitByBlocks(trains[pair.caller].onsetSec, pair.blocks).onsets;
  const b = splitByBlocks(trains[pair.replier].onsetSec, pair.blocks).onsets;
  const { counts, expected } = computeCorrelogram(a, b, pair.blocks, settings.binSec, settings.reachSec);
  const firstReplies = new Float64Array(counts.length);
  for (const latency of findFirstReplies(a, b, settings.fromSec, settings.toSec)) {
    const m = Math.floor(lagMicros(0, latency) / Math.round(settings.binSec * 1e6));
    if (m < firstReplies.length) firstReplies[m]++;
  }
  const names = { caller: trains[pair.caller].bird, replier: trains[pair.replier].bird };
  return Array.from(counts, (pairs, m) => ({ ...names, lagSec: m * settings.binSec, pairs, expected: expected[m], firstReplies: firstReplies[m] }));
}

/** Matrix of the edges' excess, caller by replier; NaN where there is none. */
export function toMatrix(birds: readonly string[], edges: readonly { caller: string; replier: string; excess: number }[]): number[][] {
  const at = new Map(birds.map((b, i) => [b, i]));
  const matrix = birds.map(() => birds.map(() => NaN));
  for (const e of edges) {
    const i = at.get(e.caller);
    const j = at.get(e.replier);
    if (i !== undefined && j !== undefined) matrix[i][j] = e.excess;
  }
  return matrix;
}

function contrastBonds(birds: readonly string[], edges: readonly NetworkEdge[], bonds: readonly (readonly [string, string])[], settings: NetworkSettings): BondContrast {
  const isBonded = birds.map((a) => birds.map((b) => bonds.some(([x, y]) => (x === a && y === b) || (x === b && y === a))));
  const test = testContrast(toMatrix(birds, edges), isBonded, settings.permutations, seedOf(settings.seed + 4, 0));
  const told = edges.filter((e) => !Number.isNaN(e.excess));
  const bonded = told.filter((e) => isBonded[birds.indexOf(e.caller)][birds.indexOf(e.replier)]);
  const meanOf = (list: readonly NetworkEdge[]): number => list.reduce((s, e) => s + e.excess, 0) / list.length;
  return { ...test, bondedPairs: bonds.length, bondedMean: meanOf(bonded), otherMean: meanOf(told.filter((e) => !bonded.includes(e))) };
}
