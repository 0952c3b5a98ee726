import { ln, log10 } from '../numeric/elementary.js';
import { BandedSystem, type BandedSolution } from './clock-banded.js';
import { addGroup, NOISE_FREEDOM, readState, ReadingDesign, renewGroup, type ClockState, type GroupPrior, type ReadingGroup } from './clock-groups.js';
import type { LagReadings } from './clock-readings.js';
import { formStays, STAY_SEC } from './clock-stays.js';

export interface SolverSettings {
  /** Usual skew of a pair (wearer's mouth and microphone apart, echoes), ms, and how many groups' worth this expectation counts. */
  askewMs: number;
  /** Usual spread of the receivers' delays, ms. */
  delayMs: number;
  /** Expected distance and spread of it, ms of travel. */
  distanceMs: number;
  distanceSigmaMs: number;
}

// Common practice, no source: a mouth 2-4 cm from its microphone and a turning body leave about 1 cm between there and back.
export const USUAL: SolverSettings = { askewMs: 0.03, delayMs: 0.03, distanceMs: 1.5, distanceSigmaMs: 2 };
const START_SIGMA_MS = 8;
const EXPECTATION_COUNT = 8;
const FEW_EXCHANGES = 4;
/** From coarse to fine: what parts two places, the least skew, rounds of reweighting. A bird that turns moves its mouth by a few hundredths of a millisecond; readings from one place agree within one. */
const STAGES = [
  { gapMs: 0.4, sameMs: 0.06, askewMs: 0.1, rounds: 4 }, { gapMs: 0.25, sameMs: 0.04, askewMs: 0.06, rounds: 4 },
  { gapMs: 0.2, sameMs: 0.02, askewMs: 0, rounds: 5 }, { gapMs: 0.2, sameMs: 0.02, askewMs: 0, rounds: 8 },
];
/** Wander under trial: standard deviation of the bend of the offset over one knot spacing of 30 s, ms. */
const BENDS_MS = [0.0001, 0.0003, 0.001, 0.003, 0.006, 0.012, 0.025, 0.05];

export interface ClockSolution {
  state: ClockState;
  groups: ReadingGroup[];
  /** Standard uncertainties: chain like state.chain.value, delays, steps, ms. */
  chainSigmaMs: Float64Array;
  delaySigmaMs: Float64Array;
  stepSigmaMs: Float64Array;
  askewSigmaMs: number;
  bendMs: number;
}

/** Everything of one fit that changes from round to round. */
interface Work {
  r: LagReadings;
  recorderOfTrack: readonly number[];
  origin: ClockState;
  state: ClockState;
  groups: ReadingGroup[];
  weights: Float64Array;
  values: Float64Array;
  residuals: Float64Array;
  delayWeights: Float64Array;
  askewMs: number;
  delaySigmaMs: number;
  noiseScale: number;
  bendMs: number;
  prior: GroupPrior;
}

/**
 * Fits clocks, delays and steps to lag readings, from a start within about half a millisecond. Noise of readings, skews of groups and delays are
 * Student t (Lange, Little and Taylor 1989, by reweighting); the offsets are a random walk in rate whose strength is chosen by marginal likelihood.
 * Time and memory grow linearly with readings and knots.
 */
export function solveClocks(r: LagReadings, recorderOfTrack: readonly number[], start: ClockState, settings: SolverSettings = USUAL): ClockSolution {
  const work: Work = {
    r, recorderOfTrack, origin: start, state: start, groups: [], weights: Float64Array.from(r.sigmaMs, (s) => 1 / s ** 2), values: new Float64Array(r.count), residuals: new Float64Array(r.count),
    delayWeights: new Float64Array(recorderOfTrack.length).fill(1), askewMs: settings.askewMs, delaySigmaMs: settings.delayMs, noiseScale: 1, bendMs: 0.02,
    prior: { askewSigmaMs: 1, distanceMs: settings.distanceMs, distanceSigmaMs: 50, oneWaySigmaMs: settings.distanceSigmaMs },
  };
  let solution: BandedSolution | undefined;
  STAGES.forEach((stage, n) => {
    work.groups = chooseGroups(formStays(r, work.state, recorderOfTrack, stage), r, recorderOfTrack);
    const oneWay = work.groups.filter((g) => !g.bothWays).length;
    // All that is known one way shares one expectation of the distances: it must not gain certainty by number.
    work.prior.oneWaySigmaMs = settings.distanceSigmaMs * Math.sqrt(Math.max(1, oneWay));
    for (let m = 0; m < r.count; m++) work.weights[m] = 1 / (work.noiseScale * r.sigmaMs[m]) ** 2;
    for (let round = 0; round < stage.rounds; round++) {
      work.prior.askewSigmaMs = Math.max(stage.askewMs, work.askewMs);
      solution = solveOnce(work).solution;
      applySolution(work, solution.unknowns);
      renewWeights(work, settings, stage.askewMs > 0);
    }
    if (n >= STAGES.length - 2) work.bendMs = chooseBend(work);
  });
  const last = solveOnce(work).solution;
  applySolution(work, last.unknowns);
  return describeSolution(work, last.variances());
}

/** One way alone the distance hides the clock: such groups serve only where some pair of recorders has hardly an exchange. */
function chooseGroups(groups: ReadingGroup[], r: LagReadings, recorderOfTrack: readonly number[]): ReadingGroup[] {
  const key = (g: ReadingGroup): number => {
    const [a, b] = [recorderOfTrack[r.from[g.members[0]]], recorderOfTrack[r.to[g.members[0]]]];
    return Math.min(a, b) * 65536 + Math.max(a, b);
  };
  const exchanges = new Map<number, number>();
  for (const g of groups) if (g.bothWays) exchanges.set(key(g), (exchanges.get(key(g)) ?? 0) + 1);
  return groups.filter((g) => g.bothWays || (exchanges.get(key(g)) ?? 0) < FEW_EXCHANGES);
}

function solveOnce(work: Work): { solution: BandedSolution; sumSquares: number; right: Float64Array } {
  const { r, recorderOfTrack, origin, groups, weights, values } = work;
  const { chain } = origin;
  const others = chain.others;
  const design = new ReadingDesign(origin, recorderOfTrack);
  const extra = recorderOfTrack.length + origin.steps.length;
  const width = Math.max(2 * others, Math.min(chain.value.length - 1, (Math.ceil(STAY_SEC / chain.stepSec) + 2) * others - 1));
  const system = new BandedSystem(chain.value.length, width, extra);
  for (let m = 0; m < r.count; m++) {
    values[m] = r.lagMs[m] - readState(origin, recorderOfTrack[r.to[m]], r.tSec[m]) + readState(origin, recorderOfTrack[r.from[m]], r.tSec[m]);
  }
  let sumSquares = 0;
  for (const g of groups) sumSquares += addGroup(system, g, r, values, weights, design, work.prior);
  for (let k = 0; k < chain.value.length; k++) system.add(k, k, 1 / START_SIGMA_MS ** 2 / Math.max(1, chain.knotSec.length));
  sumSquares += addBends(system, work);
  for (let j = 0; j < recorderOfTrack.length; j++) system.add(design.firstDelay + j, design.firstDelay + j, work.delayWeights[j] / work.delaySigmaMs ** 2);
  for (let n = 0; n < origin.steps.length; n++) system.add(design.firstStep + n, design.firstStep + n, 1e-8);
  const right = system.right.slice();
  return { solution: system.solve(), sumSquares, right };
}

/** Offsets bend slowly: second differences of origin plus correction are near zero. */
function addBends(system: BandedSystem, work: Work): number {
  const { chain } = work.origin;
  const sigma = work.bendMs * (chain.stepSec / 30) * Math.sqrt(chain.stepSec / 30);
  const w = 1 / sigma ** 2;
  const c = [1, -2, 1];
  let sum = 0;
  for (let k = 0; k + 2 < chain.knotSec.length; k++) {
    for (let q = 0; q < chain.others; q++) {
      const id = (p: number): number => (k + p) * chain.others + q;
      const y = -(chain.value[id(0)] - 2 * chain.value[id(1)] + chain.value[id(2)]);
      sum += w * y * y;
      for (let p = 0; p < 3; p++) {
        system.right[id(p)] += w * c[p] * y;
        for (let o = 0; o <= p; o++) system.add(id(p), id(o), w * c[p] * c[o]);
      }
    }
  }
  return sum;
}

function applySolution(work: Work, unknowns: Float64Array): void {
  const { origin } = work;
  const n = origin.chain.value.length;
  const tracks = work.recorderOfTrack.length;
  work.state = {
    chain: { ...origin.chain, value: origin.chain.value.map((v, k) => v + unknowns[k]) },
    delayMs: unknowns.slice(n, n + tracks), steps: origin.steps, stepMs: Float64Array.from(origin.stepMs, (v, k) => v + unknowns[n + tracks + k]),
  };
}

function renewWeights(work: Work, settings: SolverSettings, fixedScales: boolean): void {
  const { r, state, recorderOfTrack } = work;
  for (let m = 0; m < r.count; m++) {
    const t = r.tSec[m];
    const i = r.from[m];
    const j = r.to[m];
    work.residuals[m] = r.lagMs[m] - readState(state, recorderOfTrack[j], t) + readState(state, recorderOfTrack[i], t) - state.delayMs[j] + state.delayMs[i];
  }
  let squares = 0;
  let freedom = 0;
  let askew = EXPECTATION_COUNT * settings.askewMs ** 2;
  let count = EXPECTATION_COUNT;
  for (const g of work.groups) {
    const s = renewGroup(g, r, work.residuals, work.weights, work.prior, work.noiseScale);
    squares += s.sumSquares;
    freedom += s.freedom;
    if (g.bothWays) { askew += g.askewWeight * (g.askewMs ** 2 + g.askewVariance); count++; }
  }
  let delay = EXPECTATION_COUNT * settings.delayMs ** 2;
  for (let j = 0; j < recorderOfTrack.length; j++) {
    work.delayWeights[j] = (2 + 1) / (2 + (state.delayMs[j] / work.delaySigmaMs) ** 2);
    delay += work.delayWeights[j] * state.delayMs[j] ** 2;
  }
  if (fixedScales) return;
  work.askewMs = Math.sqrt(askew / count);
  work.delaySigmaMs = Math.sqrt(delay / (EXPECTATION_COUNT + recorderOfTrack.length));
  work.noiseScale = Math.min(8, Math.max(0.7, work.noiseScale * Math.sqrt((squares + 10) / (freedom + 10))));
}

/** Wander strength of the largest marginal likelihood with the present weights. */
function chooseBend(work: Work): number {
  const { chain } = work.origin;
  const bends = Math.max(0, chain.knotSec.length - 2) * chain.others;
  if (bends < 1) return work.bendMs;
  let best = work.bendMs;
  let least = Infinity;
  for (const bendMs of BENDS_MS) {
    const { solution, sumSquares, right } = solveOnce({ ...work, bendMs });
    let fit = sumSquares;
    for (let k = 0; k < right.length; k++) fit -= right[k] * solution.unknowns[k];
    // A wander near 0.01 ms is the usual one: a log-normal expectation one decade wide decides where the data are few.
    const expectation = (log10(bendMs / 0.006) / 1) ** 2;
    const cost = fit + solution.logDet + 2 * bends * ln(bendMs) + expectation;
    if (cost < least) { least = cost; best = bendMs; }
  }
  return best;
}

function describeSolution(work: Work, variances: Float64Array): ClockSolution {
  const n = work.origin.chain.value.length;
  const tracks = work.recorderOfTrack.length;
  // Weighted counts overstate what t noise tells: its Fisher information is (v + 1) / (v + 3) of the weight at the centre.
  const lift = Math.sqrt((NOISE_FREEDOM + 3) / (NOISE_FREEDOM + 1));
  const sigma = variances.map((v) => lift * Math.sqrt(Math.max(0, v)));
  return {
    state: work.state, groups: work.groups, chainSigmaMs: sigma.slice(0, n), delaySigmaMs: sigma.slice(n, n + tracks), stepSigmaMs: sigma.slice(n + tracks),
    askewSigmaMs: work.askewMs, bendMs: work.bendMs,
  };
}
