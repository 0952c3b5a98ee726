import type { Candidate } from '../evidence/candidate.js';
import { createChain, readChain, type ClockChain } from './clock-chain.js';
import { collectReadings, type LagReadings } from './clock-readings.js';
import { solveClocks, type ClockSolution } from './clock-solver.js';
import { chainFromWindows, voteWindows, type StartWindow } from './clock-start.js';
import { readOffset, type ClockModel, type RecorderClock } from './clock.js';

export interface ClockFitInput {
  candidates: readonly Candidate[];
  /** Recorder of every track. */
  recorderOfTrack: readonly number[];
  /** The clock that the candidates were extracted with: their lags are relative to it. */
  coarse: ClockModel;
  durationSec: number;
  /** Spacing of the knots, seconds. */
  knotSec?: number;
}

/** Everything that the fit found out. */
export interface ClockFit {
  clock: ClockModel;
  /** Extra delay of every track against the usual one of its recorder, seconds, with standard uncertainty. */
  delaySec: Float64Array;
  delayUncertaintySec: Float64Array;
  /** Exchanges (calls there and back) that each clock rests on. */
  exchanges: number[];
}

const LEAST_READINGS = 4;

/**
 * Refines the clocks from the lags of single calls, both directions together: a call of a bird on the reference is heard on the other
 * recorder after distance / c + offset, a call in the other direction after distance / c - offset, so the distance cancels (two-way time
 * transfer, as in RFC 5905 section 8 and ITU-R TF.1153). A recorder without enough readings keeps its coarse clock.
 */
export function fitClocks(input: ClockFitInput): ClockModel {
  return fitClocksFully(input).clock;
}

/** As fitClocks, with the delays of the receivers. */
export function fitClocksFully(input: ClockFitInput): ClockFit {
  const { recorderOfTrack, coarse, durationSec } = input;
  const spacing = input.knotSec ?? 30;
  const readings = collectReadings(input.candidates, recorderOfTrack, coarse);
  const others = coarse.length - 1;
  const nothing = { clock: coarse, delaySec: new Float64Array(recorderOfTrack.length), delayUncertaintySec: new Float64Array(recorderOfTrack.length).fill(NaN), exchanges: coarse.map(() => 0) };
  if (others < 1) return nothing;
  const { chain, usable, ambiguityMs } = startClocks(readings, input, spacing);
  if (usable.size < 2) return nothing;
  const kept = keepReadings(readings, (m) => usable.has(recorderOfTrack[readings.from[m]]) && usable.has(recorderOfTrack[readings.to[m]]));
  const solution = solveClocks(kept, recorderOfTrack, { chain, delayMs: new Float64Array(recorderOfTrack.length), steps: [], stepMs: new Float64Array(0) });
  const exchanges = countExchanges(solution, kept, recorderOfTrack, coarse.length);
  const clock = coarse.map((c, r) => (r === 0 || !usable.has(r) ? c : describeClock(solution, r, ambiguityMs[r])));
  return { clock, delaySec: solution.state.delayMs.map((v) => v / 1e3), delayUncertaintySec: solution.delaySigmaMs.map((v) => v / 1e3), exchanges };
}

/** Start of every recorder from votes, the best-heard recorder first; those already settled serve as references. */
function startClocks(readings: LagReadings, input: ClockFitInput, spacing: number): { chain: ClockChain; usable: Set<number>; ambiguityMs: number[] } {
  const { recorderOfTrack, coarse, durationSec } = input;
  const others = coarse.length - 1;
  const chain = createChain(durationSec, spacing, others);
  coarse.forEach((c, r) => { if (r > 0) chain.knotSec.forEach((t, k) => { chain.value[k * others + r - 1] = readOffset(c, t) * 1e3; }); });
  const usable = new Set([0]);
  const ambiguityMs = coarse.map(() => 0);
  const waiting = new Set(coarse.map((_, r) => r).filter((r) => r > 0));
  while (waiting.size > 0) {
    const counts = [...waiting].map((r) => ({ r, n: countBetween(readings, recorderOfTrack, r, usable) })).sort((a, b) => b.n - a.n || a.r - b.r);
    const { r, n } = counts[0];
    waiting.delete(r);
    if (n < LEAST_READINGS) continue;
    const guess = { readMs: (q: number, t: number): number => readChain(chain, q, t), rateSpanPpm: findRateSpan(coarse[r]) };
    const windows = voteWindows(readings, recorderOfTrack, r, usable, guess, durationSec);
    const own = chainFromWindows(windows, guess, r, durationSec, spacing);
    chain.knotSec.forEach((_, k) => { chain.value[k * others + r - 1] = own.value[k]; });
    ambiguityMs[r] = judgeAmbiguity(windows);
    usable.add(r);
  }
  return { chain, usable, ambiguityMs };
}

/** A coarse clock of many knots knows its rate well; of few, hardly. */
function findRateSpan(coarse: RecorderClock): number {
  const span = coarse.knotSec[coarse.knotSec.length - 1] - coarse.knotSec[0];
  return Math.round(Math.min(150, 8 + 5000 / Math.max(1, span)));
}

function countBetween(r: LagReadings, recorderOfTrack: readonly number[], recorder: number, settled: ReadonlySet<number>): number {
  let n = 0;
  for (let m = 0; m < r.count; m++) {
    const a = recorderOfTrack[r.from[m]];
    const b = recorderOfTrack[r.to[m]];
    if ((a === recorder && settled.has(b)) || (b === recorder && settled.has(a))) n++;
  }
  return n;
}

/** Where no window has a clear winner, the clock may sit on a rival of similar weight: its distance counts as uncertainty. */
function judgeAmbiguity(windows: readonly StartWindow[]): number {
  if (windows.length === 0) return 0;
  const clear = windows.reduce((best, w) => (w.votes - w.rivalVotes > best.votes - best.rivalVotes ? w : best));
  const share = clear.rivalVotes / (clear.votes + clear.rivalVotes);
  return share < 0.35 ? 0 : Math.abs(clear.offsetMs - clear.rivalMs) * Math.sqrt(share);
}

function keepReadings(r: LagReadings, keep: (m: number) => boolean): LagReadings {
  const kept = Array.from({ length: r.count }, (_, m) => m).filter(keep);
  return {
    count: kept.length, tSec: Float64Array.from(kept, (m) => r.tSec[m]), from: Uint16Array.from(kept, (m) => r.from[m]), to: Uint16Array.from(kept, (m) => r.to[m]),
    lagMs: Float64Array.from(kept, (m) => r.lagMs[m]), sigmaMs: Float64Array.from(kept, (m) => r.sigmaMs[m]),
  };
}

function countExchanges(solution: ClockSolution, r: LagReadings, recorderOfTrack: readonly number[], recorders: number): number[] {
  const out = new Array<number>(recorders).fill(0);
  for (const g of solution.groups) {
    if (!g.bothWays) continue;
    const a = recorderOfTrack[r.from[g.members[0]]];
    const b = recorderOfTrack[r.to[g.members[0]]];
    if (a !== b) { out[a]++; out[b]++; }
  }
  return out;
}

function describeClock(s: ClockSolution, recorder: number, ambiguityMs: number): RecorderClock {
  const { chain } = s.state;
  const at = (k: number): number => k * chain.others + recorder - 1;
  return {
    knotSec: [...chain.knotSec], offsetSec: chain.knotSec.map((_, k) => chain.value[at(k)] / 1e3),
    uncertaintySec: chain.knotSec.map((_, k) => Math.hypot(s.chainSigmaMs[at(k)], ambiguityMs) / 1e3),
  };
}

