import { createChain, type ClockChain } from './clock-chain.js';
import { fitTrackDelays } from './clock-delays.js';
import { addCoarse, readLevel, sumSteps } from './clock-fine-jumps.js';
import { readState, type ClockState, type StepPlace } from './clock-groups.js';
import { joinRecorders } from './clock-join.js';
import type { LagReadings } from './clock-readings.js';
import { readWindow, type StartWindow } from './clock-start.js';
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

/**
 * Start of every recorder from the windows. Groups of recorders are joined, the surest two first: what a join settles serves all readings of both
 * groups afterwards, so that three recorders close their loop.
 */
export function startClocks(readings: LagReadings, input: StartInput): ClockStart {
  const { recorderOfTrack, coarse, durationSec, spacingSec } = input;
  const chain = createChain(durationSec, spacingSec, coarse.length - 1);
  const joined = joinRecorders(readings, input);
  const steps: StepPlace[] = [];
  const sizes: number[] = [];
  const jumpsOf: ClockJump[] = [];
  coarse.forEach((c, r) => {
    if (r === 0 || !joined.usable.has(r)) return;
    const jumps = [...(c.jumps ?? []), ...joined.jumps[r]].sort((a, b) => a.tSec - b.tSec);
    fillChain(chain, r, addCoarse(joined.corrections[r], c), c, jumps, joined.jumps[r]);
    for (const j of jumps) { steps.push({ recorder: r, tSec: j.tSec }); sizes.push(j.stepSec * 1e3); jumpsOf.push(j); }
  });
  const state: ClockState = { chain, delayMs: new Float64Array(recorderOfTrack.length), steps, stepMs: Float64Array.from(sizes) };
  const readMs = (q: number, t: number): number => (q === 0 || !joined.usable.has(q) ? readOffset(coarse[q], t) * 1e3 : readState(state, q, t));
  state.delayMs = fitTrackDelays(readings, recorderOfTrack, readMs).delayMs;
  return { state, jumps: jumpsOf, usable: joined.usable, doubtMs: joined.doubtMs };
}

/** Chain of one recorder without its steps, from what the windows and the coarse clock say together: windows hold the fine steps, those of the coarse clock are taken out. */
function fillChain(chain: ClockChain, recorder: number, totals: readonly StartWindow[], coarse: RecorderClock, jumps: readonly ClockJump[], fine: readonly ClockJump[]): void {
  const put = (k: number, v: number): void => { chain.value[k * chain.others + recorder - 1] = v; };
  // A window that straddles a step belongs to neither side.
  const clear = totals.filter((w) => !jumps.some((j) => Math.abs(j.tSec - w.tSec) < w.spanSec));
  const kept = clear.length ? clear : totals;
  const level = kept.map((w) => ({ ...w, offsetMs: w.offsetMs - sumSteps(fine, w.tSec) }));
  chain.knotSec.forEach((t, k) => put(k, level.length ? readWindow(level, t) : readLevel(coarse, t)));
}
