import { hypot } from '../numeric/elementary.js';
import { createChain, readChain, type ClockChain } from './clock-chain.js';
import type { ClockState, StepPlace } from './clock-groups.js';
import { fitTrackDelays } from './clock-delays.js';
import { findSteps, fitTheilSen, locateStep } from './clock-jumps.js';
import type { LagReadings } from './clock-readings.js';
import { collectBallots, dropStrays, readWindows, voteWindows, type Ballot, type StartWindow } from './clock-start.js';
import { readOffset, type ClockJump, type ClockModel, type RecorderClock } from './clock.js';

/** Where the fine fit starts from. */
export interface ClockStart {
  state: ClockState;
  /** Steps in the order of state.steps. */
  jumps: ClockJump[];
  /** Recorders whose clocks can be fitted, the reference among them. */
  usable: Set<number>;
  /** Uncertainty from too few or contradicting exchanges per recorder, ms. */
  doubtMs: number[];
}

export interface StartInput {
  recorderOfTrack: readonly number[];
  coarse: ClockModel;
  durationSec: number;
  spacingSec: number;
}

const LEAST_READINGS = 4;
/** Votes that make a start certain; wrong peaks were never seen to gather more by chance in simulated scenes. */
const CERTAIN_VOTES = 4;
const NO_VOTES = 1.5;
/** A start by chance lies anywhere within the distances of a room, ms. */
const CHANCE_SPREAD_MS = 4;
const LEAST_STEP_MS = 0.15;
/** Votes that both sides of a step must have in favour of it. */
const LEAST_FAVOUR = 1.5;
/** Reach over which the rate of the coarse clock is read, seconds. */
const REACH_SEC = 60;

/** Start of every recorder from votes, the best-heard recorder first; those already settled serve as references. */
export function startClocks(readings: LagReadings, input: StartInput): ClockStart {
  const { recorderOfTrack, coarse, durationSec, spacingSec } = input;
  const others = coarse.length - 1;
  const chain = createChain(durationSec, spacingSec, others);
  const start: ClockStart = {
    state: { chain, delayMs: new Float64Array(recorderOfTrack.length), steps: [], stepMs: new Float64Array(0) }, jumps: [], usable: new Set([0]), doubtMs: coarse.map(() => 0),
  };
  const steps: StepPlace[] = [];
  const sizes: number[] = [];
  const waiting = new Set(coarse.map((_, r) => r).filter((r) => r > 0));
  // What is known so far: the coarse clock, replaced by the chain and its steps once a recorder is settled.
  const readMs = (q: number, t: number): number => {
    if (q === 0 || !start.usable.has(q)) return readOffset(coarse[q], t) * 1e3;
    let v = readChain(chain, q, t);
    steps.forEach((s, n) => { if (s.recorder === q && t >= s.tSec) v += sizes[n]; });
    return v;
  };
  while (waiting.size > 0) {
    const counts = [...waiting].map((r) => ({ r, n: countBetween(readings, recorderOfTrack, r, start.usable) })).sort((a, b) => b.n - a.n || a.r - b.r);
    const { r, n } = counts[0];
    waiting.delete(r);
    if (n < LEAST_READINGS) continue;
    const guess = { readMs, rateSpanPpm: findRateSpan(coarse[r]) };
    const windows = voteWindows(readings, recorderOfTrack, r, start.usable, guess, durationSec);
    start.doubtMs[r] = judgeDoubt(windows);
    const totals = dropStrays(addCoarse(windows, coarse[r]));
    const ballotsIn = (fromSec: number, toSec: number): Ballot[] => collectBallots(readings, recorderOfTrack, r, start.usable, guess, fromSec, toSec);
    const jumps = [...(coarse[r].jumps ?? []), ...findFineJumps(totals, coarse[r], ballotsIn)].sort((a, b) => a.tSec - b.tSec);
    fillChain(chain, r, totals, coarse[r], jumps);
    for (const j of jumps) { steps.push({ recorder: r, tSec: j.tSec }); sizes.push(j.stepSec * 1e3); start.jumps.push(j); }
    start.usable.add(r);
  }
  start.state.steps = steps;
  start.state.stepMs = Float64Array.from(sizes);
  start.state.delayMs = fitTrackDelays(readings, recorderOfTrack, readMs).delayMs;
  return start;
}

/** Chain of one recorder without its steps, from what the windows and the coarse clock say together. */
function fillChain(chain: ClockChain, recorder: number, totals: readonly Total[], coarse: RecorderClock, jumps: readonly ClockJump[]): void {
  const put = (k: number, v: number): void => { chain.value[k * chain.others + recorder - 1] = v; };
  // A window that straddles a step belongs to neither side.
  const clear = totals.filter((w) => !jumps.some((j) => Math.abs(j.tSec - w.tSec) < w.spanSec));
  const kept = clear.length ? clear : totals;
  if (kept.length === 0) chain.knotSec.forEach((t, k) => put(k, readLevel(coarse, t)));
  else readWindows(kept.map((w) => ({ ...w, offsetMs: w.offsetMs - sumSteps(jumps, w.tSec) })), chain.knotSec).forEach((v, k) => put(k, v));
}

function sumSteps(jumps: readonly ClockJump[], t: number): number {
  return jumps.reduce((s, j) => (t >= j.tSec ? s + j.stepSec * 1e3 : s), 0);
}

/** Coarse offset without its steps, ms; inside a gap of lost samples the clock is on its way down, so it is read behind the gap. */
function readLevel(coarse: RecorderClock, t: number): number {
  const gap = coarse.jumps?.find((j) => t >= j.tSec && t < j.tSec + Math.max(0, -j.stepSec) + 2e-3);
  const at = gap ? gap.tSec + Math.max(0, -gap.stepSec) + 2e-3 : t;
  return readOffset(coarse, at) * 1e3 - sumSteps(coarse.jumps ?? [], at);
}

/** A window whose offset and rate are those of the files, steps of the coarse clock taken away. */
type Total = StartWindow;

function addCoarse(windows: readonly StartWindow[], coarse: RecorderClock): Total[] {
  return windows.map((w) => ({
    ...w, offsetMs: w.offsetMs + readLevel(coarse, w.tSec),
    ratePpm: w.ratePpm + (1e3 * (readLevel(coarse, w.tSec + REACH_SEC) - readLevel(coarse, w.tSec - REACH_SEC))) / (2 * REACH_SEC),
  }));
}

/** Steps too small for the coarse clock, from the windows and placed by single exchanges. */
function findFineJumps(totals: readonly Total[], coarse: RecorderClock, ballotsIn: (fromSec: number, toSec: number) => Ballot[]): ClockJump[] {
  const strong = totals.filter((w) => w.votes >= CERTAIN_VOTES / 2);
  return findSteps(strong.map((w) => ({ tSec: w.tSec, offset: w.offsetMs })), LEAST_STEP_MS).flatMap(({ index }) => {
    const before = strong.slice(Math.max(0, index - 4), index);
    const after = strong.slice(index + 2, index + 6);
    const [left, right] = [before, after].map((w) => fitTheilSen(w.map((e) => e.tSec), w.map((e) => e.offsetMs)));
    const [from, to] = [strong[Math.max(0, index - 1)].tSec - strong[index].spanSec / 2, strong[Math.min(strong.length - 1, index + 2)].tSec + strong[index].spanSec / 2];
    // An exchange across the step agrees with neither side.
    const fit = (z: number): number => {
      const v = 1 / (1 + (z / 0.1) ** 2);
      return v > 0.2 ? v : 0;
    };
    const evidence = ballotsIn(from, to).map((x) => {
      const z = x.halfDifference + readLevel(coarse, x.meanSec);
      const before = x.weight * fit(z - left.intercept - left.slope * x.meanSec);
      const after = x.weight * fit(z - right.intercept - right.slope * x.meanSec);
      // Both calls lie before the step, or both behind it: the later or the earlier of them is what bounds it.
      return { tSec: x.meanSec + (before > after ? 0.5 : -0.5) * Math.abs(x.apartSec), before, after };
    }).sort((x, y) => x.tSec - y.tSec);
    const place = locateStep(evidence);
    // Windows may waver by themselves; the exchanges on both sides have to bear the step out.
    // Windows may waver by themselves; the exchanges on both sides have to bear the step out.
    if (!place || place.favour < LEAST_FAVOUR) return [];
    // The lines on both sides, met between the windows: the rate may differ. Single readings find the moment later.
    const tSec = (strong[index].tSec + strong[index + 1].tSec) / 2;
    return [{ tSec, stepSec: (right.intercept - left.intercept + (right.slope - left.slope) * tSec) / 1e3, withinSec: strong[index].spanSec / 2 }];
  });
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

/** Few votes may agree by chance: the share of doubt times how far a start by chance may be off; near rivals count as well. */
function judgeDoubt(windows: readonly StartWindow[]): number {
  const total = windows.reduce((s, w) => s + w.votes, 0);
  const share = Math.min(1, Math.max(0, (CERTAIN_VOTES - total) / (CERTAIN_VOTES - NO_VOTES)));
  const rivals = windows.reduce((s, w) => s + w.rivalVotes, 0);
  const contested = windows.length < 3 && rivals > 0.5 * total ? Math.abs(windows[0].offsetMs - windows[0].rivalMs) * (rivals / (rivals + total)) : 0;
  return hypot(share * CHANCE_SPREAD_MS, contested);
}
