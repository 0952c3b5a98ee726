import type { Candidate } from '../evidence/candidate.js';
import { hypot } from '../numeric/elementary.js';
import { chooseReadings } from './clock-choose.js';
import { confirmDelays } from './clock-delays.js';
import { collectReadings, keepReadings, thinReadings, type CallArrival, type ClockLook, type LagReadings } from './clock-readings.js';
import { placeSteps } from './clock-place-steps.js';
import { startClocks, type ClockStart } from './clock-settle.js';
import { solveClocks, type ClockSolution } from './clock-solver.js';
import { STAY_SEC } from './clock-stays.js';
import { insertJumps, type ClockModel, type RecorderClock } from './clock.js';

export interface ClockFitInput {
  candidates: readonly Candidate[];
  /** Recorder of every track. */
  recorderOfTrack: readonly number[];
  /** The clock that the candidates were extracted with: their lags are relative to it. */
  coarse: ClockModel;
  /** What other looks at the same sound found, from other alignments: a true lag that one of them does not see may be in another. */
  otherLooks?: readonly ClockLook[];
  /** Lags of chosen calls between recorders over a wide reach, rivals among them. */
  arrivals?: readonly CallArrival[];
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

const KNOT_SEC = 30;
/** Smaller steps are left to the smooth clock: a few samples at usual rates, ms. */
const LEAST_STEP_MS = 0.1;
const MOST_KNOTS = 20000;
/** Readings that one fit looks at; more add nothing but time. */
const MOST_READINGS = 150000;

/**
 * Refines the clocks from the lags of single calls, both directions together: a call of a bird on the reference is heard on the other
 * recorder after distance / c + offset, a call in the other direction after distance / c - offset, so the distance cancels (two-way time
 * transfer, as in RFC 5905 section 8 and ITU-R TF.1153). A recorder without enough readings keeps its coarse clock.
 * The offsets hold the usual delay of the recorder's receivers: what all receivers of one recorder have in common cannot be told from its clock.
 */
export function fitClocks(input: ClockFitInput): ClockModel {
  return fitClocksFully(input).clock;
}

/** As fitClocks, with the delays of the receivers. */
export function fitClocksFully(input: ClockFitInput): ClockFit {
  const { recorderOfTrack, coarse } = input;
  const tracks = recorderOfTrack.length;
  const nothing = { clock: coarse, delaySec: new Float64Array(tracks), delayUncertaintySec: new Float64Array(tracks).fill(NaN), exchanges: coarse.map(() => 0) };
  if (coarse.length < 2) return nothing;
  const readings = collectReadings([{ candidates: input.candidates, clock: coarse }, ...(input.otherLooks ?? [])], recorderOfTrack, input.arrivals);
  const start = startClocks(readings, { recorderOfTrack, coarse, durationSec: input.durationSec, spacingSec: input.knotSec ?? Math.max(KNOT_SEC, input.durationSec / MOST_KNOTS) });
  if (start.usable.size < 2) return nothing;
  const usable = (m: number): boolean => start.usable.has(recorderOfTrack[readings.from[m]]) && start.usable.has(recorderOfTrack[readings.to[m]]);
  const kept = thinReadings(chooseReadings(keepReadings(readings, usable), start.state, recorderOfTrack), recorderOfTrack, STAY_SEC, MOST_READINGS);
  start.state = { ...start.state, delayMs: confirmDelays(kept, start.state, recorderOfTrack) };
  let solution = solveClocks(kept, recorderOfTrack, start.state);
  // Steps found from votes are placed by single readings once the distances are known; what proves too small is taken back.
  for (let round = 0; round < 2 && start.state.steps.length > 0; round++) {
    const placed = placeSteps(kept, solution.state, solution.groups, recorderOfTrack, start.jumps);
    start.jumps = placed.jumps;
    start.state = { ...start.state, steps: placed.steps, stepMs: solution.state.stepMs };
    dropWeakSteps(start, solution);
    solution = solveClocks(kept, recorderOfTrack, start.state);
  }
  const exchanges = countExchanges(solution, kept, recorderOfTrack, coarse.length);
  const clock = coarse.map((c, r) => (r === 0 || !start.usable.has(r) ? c : describeClock(solution, r, start, exchanges[r])));
  return {
    clock, delaySec: solution.state.delayMs.map((v) => v / 1e3), delayUncertaintySec: solution.delaySigmaMs.map((v) => v / 1e3),
    exchanges,
  };
}

/** Takes steps back that the fit finds too small to tell. */
function dropWeakSteps(start: ClockStart, solution: ClockSolution): void {
  const { steps, stepMs } = start.state;
  const kept = steps.map((_, n) => n).filter((n) => Math.abs(solution.state.stepMs[n]) > Math.max(LEAST_STEP_MS, 4 * solution.stepSigmaMs[n]));
  start.jumps = kept.map((n) => start.jumps[n]);
  start.state = { ...start.state, steps: kept.map((n) => steps[n]), stepMs: Float64Array.from(kept, (n) => stepMs[n]) };
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

/** Least degrees of freedom: fewer would have no spread at all. */
const LEAST_FREEDOM = 2.5;

function describeClock(s: ClockSolution, recorder: number, start: ClockStart, exchanges: number): RecorderClock {
  const { chain, steps, stepMs } = s.state;
  const at = (k: number): number => k * chain.others + recorder - 1;
  const jumps = steps.map((p, n) => ({ ...start.jumps[n], tSec: p.tSec, stepSec: stepMs[n] / 1e3, recorder: p.recorder })).filter((j) => j.recorder === recorder);
  // How far exchanges scatter is known from themselves: of few of them the mean is spread like Student's t.
  const freedom = Math.max(LEAST_FREEDOM, exchanges);
  const lift = Math.sqrt(freedom / (freedom - 2));
  const clock: RecorderClock = {
    knotSec: [...chain.knotSec], offsetSec: chain.knotSec.map((t, k) => chain.value[at(k)] / 1e3 + jumps.reduce((sum, j) => (t >= j.tSec ? sum + j.stepSec : sum), 0)),
    uncertaintySec: chain.knotSec.map((_, k) => hypot(lift * s.chainSigmaMs[at(k)], start.doubtMs[recorder]) / 1e3),
  };
  if (jumps.length === 0) return clock;
  return insertJumps(clock, jumps.map(({ tSec, stepSec, withinSec }) => ({ tSec, stepSec, withinSec })));
}
