import { VolaryError } from '../schema/errors.js';
import { findKnot, readChain, type ClockChain } from './clock-chain.js';
import type { LagReadings } from './clock-readings.js';
import type { BandedSystem } from './clock-banded.js';

/** A step of one recorder's clock, known in time, unknown in size. */
export interface StepPlace { recorder: number; tSec: number }

/** Readings of one pair of tracks while both birds stay where they are: one distance, one difference between there and back. */
export interface ReadingGroup {
  members: Int32Array;
  bothWays: boolean;
  /** Fitted: half the difference between there and back that geometry and echoes leave, its weight and its variance, ms. */
  askewMs: number;
  askewWeight: number;
  askewVariance: number;
}

export interface ClockState {
  chain: ClockChain;
  delayMs: Float64Array;
  steps: readonly StepPlace[];
  stepMs: Float64Array;
}

/** Offset of a recorder at a time with its steps, ms. */
export function readState(s: ClockState, recorder: number, tSec: number): number {
  let v = readChain(s.chain, recorder, tSec);
  for (let n = 0; n < s.steps.length; n++) if (s.steps[n].recorder === recorder && tSec >= s.steps[n].tSec) v += s.stepMs[n];
  return v;
}

/** What a reading leaves for the distance once clocks and delays are taken away, ms. */
export function readDistance(r: LagReadings, m: number, s: ClockState, recorderOfTrack: readonly number[]): number {
  const t = r.tSec[m];
  const i = r.from[m];
  const j = r.to[m];
  return r.lagMs[m] - readState(s, recorderOfTrack[j], t) + readState(s, recorderOfTrack[i], t) - s.delayMs[j] + s.delayMs[i];
}

/** Unknowns of one reading: knots of both recorders, delays of both tracks, steps; coefficients as heard from the lower track. */
export class ReadingDesign {
  readonly ids: number[] = [];
  readonly coefficients: number[] = [];

  constructor(private readonly state: ClockState, private readonly recorderOfTrack: readonly number[]) {}

  /** Index of the first delay among the unknowns. */
  get firstDelay(): number { return this.state.chain.value.length; }
  get firstStep(): number { return this.firstDelay + this.state.delayMs.length; }

  fill(r: LagReadings, m: number): void {
    this.ids.length = 0;
    this.coefficients.length = 0;
    const { from, to } = { from: r.from[m], to: r.to[m] };
    const a = this.recorderOfTrack[from];
    const b = this.recorderOfTrack[to];
    if (a !== b) {
      this.addClock(b, r.tSec[m], 1);
      this.addClock(a, r.tSec[m], -1);
    }
    this.push(this.firstDelay + to, 1);
    this.push(this.firstDelay + from, -1);
  }

  private addClock(recorder: number, t: number, sign: number): void {
    if (recorder === 0) return;
    const { chain, steps } = this.state;
    const k = findKnot(chain, t);
    const share = t / chain.stepSec - k;
    const at = k * chain.others + recorder - 1;
    this.push(at, sign * (1 - share));
    this.push(at + chain.others, sign * share);
    for (let n = 0; n < steps.length; n++) if (steps[n].recorder === recorder && t >= steps[n].tSec) this.push(this.firstStep + n, sign);
  }

  private push(id: number, coefficient: number): void {
    this.ids.push(id);
    this.coefficients.push(coefficient);
  }
}

export interface GroupPrior {
  askewSigmaMs: number;
  /** Expected distance and its spread for groups heard one way only, ms. */
  distanceMs: number;
  distanceSigmaMs: number;
  oneWaySigmaMs: number;
}

/** Degrees of freedom of the heavy-tailed noise (Student t) for readings and for groups. */
export const NOISE_FREEDOM = 3;

/**
 * Adds one group to the normal equations with its distance and its skew eliminated (Schur complement): value = distance + s skew + design.
 * @returns what the group adds to the sum of squares at given unknowns' zero, for the likelihood
 */
export function addGroup(system: BandedSystem, group: ReadingGroup, r: LagReadings, values: Float64Array, weights: Float64Array, design: ReadingDesign, prior: GroupPrior): number {
  const { local, h, b, g0, g1 } = scratch;
  local.length = 0;
  const sigma = group.bothWays ? prior.distanceSigmaMs : prior.oneWaySigmaMs;
  let d00 = 1 / sigma ** 2;
  let d01 = 0;
  let d11 = group.askewWeight / prior.askewSigmaMs ** 2;
  let e0 = prior.distanceMs / sigma ** 2;
  let e1 = 0;
  let total = prior.distanceMs ** 2 / sigma ** 2;
  for (const m of group.members) {
    design.fill(r, m);
    const s = r.from[m] < r.to[m] ? 1 : -1;
    const w = weights[m];
    const y = values[m];
    d00 += w; d01 += w * s; d11 += w;
    e0 += w * y; e1 += w * s * y;
    total += w * y * y;
    const { ids, coefficients: c } = design;
    for (let p = 0; p < ids.length; p++) places[p] = findPlace(ids[p]);
    for (let p = 0; p < ids.length; p++) {
      b[places[p]] += w * c[p] * y;
      g0[places[p]] += w * c[p];
      g1[places[p]] += w * c[p] * s;
      for (let q = 0; q < ids.length; q++) h[places[p] * MOST_LOCAL + places[q]] += w * c[p] * c[q];
    }
  }
  const det = d00 * d11 - d01 * d01;
  const [i00, i01, i11] = [d11 / det, -d01 / det, d00 / det];
  for (let p = 0; p < local.length; p++) {
    const u0 = g0[p] * i00 + g1[p] * i01;
    const u1 = g0[p] * i01 + g1[p] * i11;
    system.right[local[p]] += b[p] - u0 * e0 - u1 * e1;
    for (let q = 0; q <= p; q++) system.add(local[p], local[q], h[p * MOST_LOCAL + q] - u0 * g0[q] - u1 * g1[q]);
  }
  return total - (e0 * e0 * i00 + 2 * e0 * e1 * i01 + e1 * e1 * i11);
}

/** Unknowns that one group can touch: two delays, knots of two recorders over a cell of time, steps. */
const MOST_LOCAL = 256;
/** Working room of addGroup, cleared as places are given out; one group after the other uses it. */
const scratch = { local: [] as number[], h: new Float64Array(MOST_LOCAL * MOST_LOCAL), b: new Float64Array(MOST_LOCAL), g0: new Float64Array(MOST_LOCAL), g1: new Float64Array(MOST_LOCAL) };
const places = new Int32Array(MOST_LOCAL);

function findPlace(id: number): number {
  const { local, h, b, g0, g1 } = scratch;
  const known = local.indexOf(id);
  if (known >= 0) return known;
  const at = local.length;
  if (at >= MOST_LOCAL) throw new VolaryError('internal', { what: 'too many unknowns in one group of readings', got: String(at + 1), expected: `at most ${MOST_LOCAL}` });
  local.push(id);
  b[at] = 0;
  g0[at] = 0;
  g1[at] = 0;
  for (let k = 0; k <= at; k++) { h[at * MOST_LOCAL + k] = 0; h[k * MOST_LOCAL + at] = 0; }
  return at;
}

/** Distance and skew of a group once the other unknowns are known; renews the group's weight and the weights of its readings. */
export function renewGroup(group: ReadingGroup, r: LagReadings, residuals: Float64Array, weights: Float64Array, prior: GroupPrior, noiseScale: number): { sumSquares: number; freedom: number } {
  const sigma = group.bothWays ? prior.distanceSigmaMs : prior.oneWaySigmaMs;
  let d00 = 1 / sigma ** 2;
  let d01 = 0;
  let d11 = group.askewWeight / prior.askewSigmaMs ** 2;
  let e0 = prior.distanceMs / sigma ** 2;
  let e1 = 0;
  for (const m of group.members) {
    const s = r.from[m] < r.to[m] ? 1 : -1;
    d00 += weights[m]; d01 += weights[m] * s; d11 += weights[m];
    e0 += weights[m] * residuals[m]; e1 += weights[m] * s * residuals[m];
  }
  const det = d00 * d11 - d01 * d01;
  const distance = (e0 * d11 - e1 * d01) / det;
  const askew = (e1 * d00 - e0 * d01) / det;
  group.askewMs = askew;
  group.askewVariance = d00 / det;
  if (group.bothWays) group.askewWeight = (NOISE_FREEDOM + 1) / (NOISE_FREEDOM + (askew ** 2 + group.askewVariance) / prior.askewSigmaMs ** 2);
  let sumSquares = 0;
  for (const m of group.members) {
    const s = r.from[m] < r.to[m] ? 1 : -1;
    const z = (residuals[m] - distance - s * askew) / (noiseScale * r.sigmaMs[m]);
    const w = (NOISE_FREEDOM + 1) / (NOISE_FREEDOM + z * z);
    sumSquares += w * z * z;
    weights[m] = w / (noiseScale * r.sigmaMs[m]) ** 2;
  }
  return { sumSquares, freedom: Math.max(0, group.members.length - (group.bothWays ? 2 : 1)) };
}
