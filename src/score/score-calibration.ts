import { bootstrapEstimate } from './bootstrap.js';
import type { BootstrapOptions } from './bootstrap.js';
import { binOfProbability, decomposeBrier, expectedCalibrationError, reliabilityBins } from './calibration.js';
import type { BrierDecomposition, Forecast, ReliabilityBin } from './calibration.js';
import { sortedQuantile } from './quantile.js';
import { RandomWords } from './random.js';
import { areaUnderRiskCoverage, chooseByLabels, riskCoverageCurve, thinCurve } from './risk-coverage.js';
import type { PrecisionChoice, RiskCoveragePoint } from './risk-coverage.js';
import type { ScoreOptions, ScoreTables } from './score-tables.js';
import { dot } from './time-blocks.js';
import type { Estimate } from './types.js';

export interface CalibrationScore {
  reports: number;
  correct: number;
  meanProbability: number | null;
  brier: Estimate;
  /** Expected calibration error with the bins of the settings. */
  calibrationError: Estimate;
  /** The same with 10 bins. */
  calibrationError10: number | null;
  /** Median and 95 % point that perfectly calibrated probabilities would reach by chance with as many reports. */
  calibrationErrorByChance: { median: number; p95: number } | null;
  decomposition: BrierDecomposition | null;
  reliability: ReliabilityBin[];
  /** The curve has at most 201 points; choices and mean risk come from all. */
  riskCoverage: { points: RiskCoveragePoint[]; meanRisk: number | null; choices: PrecisionChoice[] };
}

const PRECISIONS = [0.9, 0.95, 0.98, 0.99, 0.995];

/** How far the probabilities can be believed, and what is gained by keeping only the sure reports. */
export function scoreCalibration(tables: ScoreTables, options: ScoreOptions, bootstrap: BootstrapOptions): CalibrationScore {
  const binCount = options.binCount ?? 15;
  const scored = tables.calls.map((call, i) => ({ call, isRight: tables.same.labelOfCall[i] >= 0 })).filter((_, i) => tables.isCallScoredSame[i]);
  const forecasts = scored.map(({ call, isRight }): Forecast => ({ probability: call.probability, correct: isRight }));
  const blockOf = scored.map(({ call }) => tables.blocks.blockOf(call.onsetSec));
  const curve = riskCoverageCurve(forecasts);
  const has = forecasts.length > 0;
  return {
    reports: forecasts.length,
    correct: forecasts.filter((f) => f.correct).length,
    meanProbability: has ? forecasts.reduce((s, f) => s + f.probability, 0) / forecasts.length : null,
    brier: estimateBrier(forecasts, blockOf, tables.blocks.count, bootstrap),
    calibrationError: estimateCalibrationError(forecasts, blockOf, tables.blocks.count, binCount, bootstrap),
    calibrationError10: has ? expectedCalibrationError(forecasts, 10) : null,
    calibrationErrorByChance: has ? expectedIfCalibrated(forecasts.map((f) => f.probability), binCount, bootstrap.seed) : null,
    decomposition: has ? decomposeBrier(forecasts, binCount) : null,
    reliability: reliabilityBins(forecasts, binCount),
    riskCoverage: {
      points: thinCurve(curve), meanRisk: has ? areaUnderRiskCoverage(curve) : null,
      choices: (options.precisions ?? PRECISIONS).map((asked) => chooseByLabels(curve, asked)),
    },
  };
}

function estimateBrier(forecasts: readonly Forecast[], blockOf: readonly number[], blockCount: number, bootstrap: BootstrapOptions): Estimate {
  const sums = new Float64Array(blockCount);
  const counts = new Float64Array(blockCount);
  forecasts.forEach(({ probability, correct }, i) => {
    sums[blockOf[i]] += (probability - (correct ? 1 : 0)) ** 2;
    counts[blockOf[i]]++;
  });
  return bootstrapEstimate(blockCount, (drawn) => dot(drawn, sums) / dot(drawn, counts), bootstrap);
}

function estimateCalibrationError(
  forecasts: readonly Forecast[], blockOf: readonly number[], blockCount: number, binCount: number, bootstrap: BootstrapOptions,
): Estimate {
  // Surplus of stated over observed, per bin and block.
  const surplus = Array.from({ length: binCount }, () => new Float64Array(blockCount));
  const counts = new Float64Array(blockCount);
  forecasts.forEach(({ probability, correct }, i) => {
    surplus[binOfProbability(probability, binCount)][blockOf[i]] += probability - (correct ? 1 : 0);
    counts[blockOf[i]]++;
  });
  return bootstrapEstimate(blockCount, (drawn) => surplus.reduce((s, bin) => s + Math.abs(dot(drawn, bin)), 0) / dot(drawn, counts), bootstrap);
}

/**
 * Distribution of the expected calibration error if every report came true with exactly its probability, by drawing outcomes
 * (consistency resampling, Bröcker & Smith 2007; from memory). A measured error below this is no evidence against calibration.
 */
export function expectedIfCalibrated(probabilities: readonly number[], binCount = 15, seed = 20240229): { median: number; p95: number } {
  const random = new RandomWords(seed);
  const rounds = Math.max(50, Math.min(400, Math.floor(2e7 / probabilities.length)));
  const bins = probabilities.map((p) => binOfProbability(p, binCount));
  const errors = Float64Array.from({ length: rounds }, () => {
    const surplus = new Float64Array(binCount);
    probabilities.forEach((p, i) => { surplus[bins[i]] += p - (random.nextUnit() < p ? 1 : 0); });
    return surplus.reduce((s, x) => s + Math.abs(x), 0) / probabilities.length;
  }).sort();
  return { median: sortedQuantile(errors, 0.5), p95: sortedQuantile(errors, 0.95) };
}
