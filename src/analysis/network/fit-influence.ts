import { cosTurn, exp, ln, sinTurn } from '../../numeric/elementary.js';
import { normalCdf } from '../../numeric/normal.js';
import { RandomWords } from '../../numeric/random-words.js';
import { accumulateWeights, mergeTrains } from './explaining-calls.js';
import { fitLogistic } from './logistic-fit.js';
import type { LogisticFit } from './logistic-fit.js';
import { lowerBound, sumIntervals } from './observed-time.js';
import { buildLagKernels, measureGain } from './raised-cosines.js';
import type { LagKernels } from './raised-cosines.js';
import { RowBuilder } from './row-builder.js';
import type { Interval, NetworkSettings, Train, WeightedTrain } from './types.js';

/** What a call of one bird does to the rate of another, all else in the regression held. */
export interface Influence {
  caller: string;
  replier: string;
  /** Mean over the reply window of the replier's rate after a call, over its rate without that call. */
  rateRatio: number;
  /** Standard error of the logarithm of rateRatio: the larger of the usual and the one that lets 10-minute blocks be of one piece. */
  logError: number;
  /** Two-sided, from the normal distribution. */
  p: number;
}

/** Fewer calls than this decide nothing about a bird: no regression. */
const LEAST_CALLS = 20;

/** Moments without a call: per call of the replier, and at least so many. */
const CONTROLS_PER_CALL = 4;
const LEAST_CONTROLS = 4000;

const HOUR_COLUMNS = 4;
/** Activity around: own and others' calls so far before and after the moment; each enters as ln(1 + count). The nearest second is left to the kernels. */
const AROUND: readonly (readonly [number, number])[] = [[1, 3], [3, 8], [8, 30], [30, 120]];

const ownKernels = buildLagKernels(6, 0.03, 2, 3, 0.05);

/** Kernels of a call of another bird: past the end of the reply window, at least to 1 s. */
function buildOtherKernels(toSec: number): LagKernels {
  const reachSec = Math.max(1, 1.5 * toSec);
  return buildLagKernels(8, 0.03, 0.7 * reachSec, reachSec, 0.05);
}

/**
 * Point-process regression of one bird's calls: the logarithm of its rate is a sum of a constant, the hour of day (two harmonics), its own
 * calls (raised cosines to 3 s), the calls of every other bird (raised cosines to 1 s or past the reply window),
 * and how much it and the others called around that moment, from 1 s to 2 min away on both sides. The last stands for common causes; as it looks
 * ahead too, the fit describes and does not predict.
 *
 * Fitted in continuous time without bins: calls against control moments drawn at a known rate, half of them evenly, half within a second
 * after a call of another bird; logistic regression with minus the logarithm of that rate as offset estimates the rate itself (Baddeley, Coeurjolly,
 * Rubak and Waagepetersen 2014, Biometrika 101:377-392; there also for rates that are conditional on both sides of a moment).
 * @param replier its sure calls, which are explained. @param own all calls it may have made: its own past.
 * @param sources all trains but the replier's; those named 'none' enter but are not reported.
 */
export function fitInfluence(replier: Train, own: WeightedTrain, sources: readonly WeightedTrain[], observed: readonly Interval[], settings: NetworkSettings, seed: number, clockOffsetSec = 0): Influence[] {
  if (replier.onsetSec.length < LEAST_CALLS) return [];
  const design = new Design(own, sources, clockOffsetSec, settings);
  addMoments(design, replier.onsetSec, observed, new RandomWords(seed));
  const rows = design.rows.finish(design.columns);
  const ridge = new Float64Array(rows.columns).fill(settings.ridge);
  ridge[0] = 0;
  const fit = fitLogistic(rows, ridge);
  return sources.flatMap((source, s) => (source.bird === 'none' ? [] : [describe(source.bird, replier.bird, fit, design.firstOf(s), design.otherKernels, settings)]));
}

function describe(caller: string, replier: string, fit: LogisticFit, first: number, kernels: LagKernels, settings: NetworkSettings): Influence {
  const { logGain, gradient } = measureGain(kernels, fit.weights.subarray(first, first + kernels.count), settings.fromSec, settings.toSec);
  let usual = 0;
  let robust = 0;
  for (let k = 0; k < gradient.length; k++) {
    for (let m = 0; m < gradient.length; m++) {
      usual += gradient[k] * gradient[m] * fit.covariance.get(first + k, first + m);
      robust += gradient[k] * gradient[m] * fit.robust.get(first + k, first + m);
    }
  }
  const logError = Math.sqrt(Math.max(usual, robust));
  return { caller, replier, rateRatio: exp(logGain), logError, p: 2 * normalCdf(-Math.abs(logGain / logError)) };
}

/** Adds the replier's calls and the control moments. */
function addMoments(design: Design, calls: Float64Array, observed: readonly Interval[], random: RandomWords): void {
  const wholeSec = sumIntervals(observed);
  const { reachSec } = design.otherKernels;
  const others = design.others.onsetSec;
  const half = Math.max(LEAST_CONTROLS, CONTROLS_PER_CALL * calls.length) / 2;
  const evenRate = half / wholeSec;
  const perCall = Math.min(2, half / Math.max(1, others.length));
  const nearRate = perCall / reachSec;
  const add = (sec: number, outcome: number): void => {
    // Those after the calls of others make the rate of control moments known but uneven.
    const near = lowerBound(others, sec) - lowerBound(others, sec - reachSec);
    design.add(sec, outcome, -ln(evenRate + nearRate * near));
  };
  for (const { startSec, endSec } of observed) {
    for (let i = lowerBound(calls, startSec); i < calls.length && calls[i] < endSec; i++) add(calls[i], 1);
    for (let t = startSec + drawWait(random, evenRate); t < endSec; t += drawWait(random, evenRate)) add(t, 0);
    for (let i = lowerBound(others, startSec - reachSec); i < others.length && others[i] < endSec; i++) {
      for (let k = drawWait(random, perCall); k < 1; k += drawWait(random, perCall)) {
        const t = others[i] + random.nextUnit() * reachSec;
        if (t >= startSec && t < endSec) add(t, 0);
      }
    }
  }
}

function drawWait(random: RandomWords, rate: number): number {
  return -ln(1 - random.nextUnit()) / rate;
}

/** Columns: constant, hours, slow activity, own kernels, kernels of each source in turn. */
class Design {
  readonly rows = new RowBuilder();
  private readonly slowFirst = 1 + HOUR_COLUMNS;
  private readonly ownFirst = 1 + HOUR_COLUMNS + 2 * AROUND.length;

  readonly otherKernels: LagKernels;
  private readonly blockSec: number;

  readonly others: WeightedTrain;
  private readonly ownSums: Float64Array;
  private readonly otherSums: Float64Array;

  constructor(private readonly own: WeightedTrain, private readonly sources: readonly WeightedTrain[], private readonly clockOffsetSec: number, settings: NetworkSettings) {
    this.others = mergeTrains(sources);
    this.ownSums = accumulateWeights(own);
    this.otherSums = accumulateWeights(this.others);
    this.otherKernels = buildOtherKernels(settings.toSec);
    this.blockSec = settings.blockSec;
  }

  get columns(): number { return this.firstOf(this.sources.length); }

  firstOf(source: number): number {
    return this.ownFirst + ownKernels.count + source * this.otherKernels.count;
  }

  add(sec: number, outcome: number, offset: number): void {
    const { rows } = this;
    rows.put(0, 1);
    const day = (sec + this.clockOffsetSec) / 86400;
    for (let h = 0; h < HOUR_COLUMNS / 2; h++) {
      const turns = (h + 1) * day;
      rows.put(1 + 2 * h, cosTurn(turns - Math.floor(turns)));
      rows.put(2 + 2 * h, sinTurn(turns - Math.floor(turns)));
    }
    AROUND.forEach(([from, to], k) => {
      rows.put(this.slowFirst + 2 * k, ln(1 + sumAround(this.own.onsetSec, this.ownSums, sec, from, to)));
      rows.put(this.slowFirst + 2 * k + 1, ln(1 + sumAround(this.others.onsetSec, this.otherSums, sec, from, to)));
    });
    addKernels(rows, this.ownFirst, ownKernels, this.own, sec);
    this.sources.forEach((source, s) => addKernels(rows, this.firstOf(s), this.otherKernels, source, sec));
    rows.finishRow(outcome, offset, Math.floor(sec / this.blockSec));
  }
}

/** Summed weight of the calls whose distance from `sec`, before or after, lies between the two. */
function sumAround(sorted: Float64Array, sums: Float64Array, sec: number, fromSec: number, toSec: number): number {
  const at = (t: number): number => sums[lowerBound(sorted, t)];
  return at(sec - fromSec) - at(sec - toSec) + at(sec + toSec) - at(sec + fromSec);
}

const sums = new Float64Array(16);

/** Sums each kernel, times the weight, over the calls before `sec`. */
function addKernels(rows: RowBuilder, first: number, kernels: LagKernels, { onsetSec: onsets, weight }: WeightedTrain, sec: number): void {
  let last = lowerBound(onsets, sec) - 1;
  if (last < 0 || sec - onsets[last] >= kernels.reachSec) return;
  sums.fill(0);
  for (; last >= 0 && sec - onsets[last] < kernels.reachSec; last--) {
    const m = Math.min(kernels.steps - 1, Math.floor((sec - onsets[last]) / kernels.stepSec));
    for (let k = 0; k < kernels.count; k++) sums[k] += weight[last] * kernels.values[k * kernels.steps + m];
  }
  for (let k = 0; k < kernels.count; k++) rows.put(first + k, sums[k]);
}
