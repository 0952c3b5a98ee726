/** One forecast: the probability stated and whether it came true. */
export interface Forecast {
  probability: number;
  correct: boolean;
}

/** Forecasts of one bin taken together. */
export interface ReliabilityBin {
  /** Bin limits; the bin holds lowProbability < p <= highProbability, the first bin also p = 0. */
  lowProbability: number;
  highProbability: number;
  count: number;
  /** Number that came true. */
  correct: number;
  /** Mean probability stated; NaN for an empty bin. */
  meanProbability: number;
  /** Share that came true; NaN for an empty bin. */
  observedShare: number;
}

/**
 * Mean squared difference of probability and outcome (Brier 1950): 0 is perfect. NaN for no forecast.
 */
export function brierScore(forecasts: readonly Forecast[]): number {
  let sum = 0;
  for (const { probability, correct } of forecasts) sum += (probability - (correct ? 1 : 0)) ** 2;
  return forecasts.length ? sum / forecasts.length : NaN;
}

/** Index of the equal-width bin ((k/n, (k+1)/n], 0 in the first) of a probability. */
export function binOfProbability(probability: number, binCount: number): number {
  return Math.min(binCount - 1, Math.max(0, Math.ceil(probability * binCount - 1e-12) - 1));
}

/** Reliability curve: equal-width bins over [0, 1], empty ones included. */
export function reliabilityBins(forecasts: readonly Forecast[], binCount = 15): ReliabilityBin[] {
  const count = new Float64Array(binCount);
  const correctCount = new Float64Array(binCount);
  const sum = new Float64Array(binCount);
  for (const { probability, correct } of forecasts) {
    const bin = binOfProbability(probability, binCount);
    count[bin]++;
    sum[bin] += probability;
    if (correct) correctCount[bin]++;
  }
  return Array.from(count, (n, i) => ({
    lowProbability: i / binCount, highProbability: (i + 1) / binCount, count: n, correct: correctCount[i],
    meanProbability: sum[i] / n, observedShare: correctCount[i] / n,
  }));
}

/**
 * Expected calibration error: the mean over forecasts of |observed share - mean probability| of their bin, with equal-width bins
 * (Naeini, Cooper & Hauskrecht 2015; from memory). 15 bins by default. NaN for no forecast. A finite sample of perfectly calibrated
 * forecasts has an expected value above 0: compare `expectedIfCalibrated`.
 */
export function expectedCalibrationError(forecasts: readonly Forecast[], binCount = 15): number {
  return forecasts.length ? calibrationErrorOfBins(reliabilityBins(forecasts, binCount)) : NaN;
}

/** The same from bins made before. */
export function calibrationErrorOfBins(bins: readonly ReliabilityBin[]): number {
  let total = 0;
  let sum = 0;
  for (const bin of bins) {
    if (bin.count === 0) continue;
    total += bin.count;
    sum += Math.abs(bin.correct - bin.meanProbability * bin.count);
  }
  return total > 0 ? sum / total : NaN;
}

export interface BrierDecomposition {
  brier: number;
  /** Weighted squared distance of observed shares and probabilities; 0 is best. */
  reliability: number;
  /** Weighted squared distance of observed shares and the overall share; large is best. */
  resolution: number;
  /** Variance of the outcome. */
  uncertainty: number;
  /** brier - (reliability - resolution + uncertainty): 0 when grouped by distinct probabilities, the within-bin rest otherwise. */
  withinBins: number;
  /** 1 - brier / uncertainty; NaN where all outcomes agree. */
  skill: number;
}

/**
 * Brier score = reliability - resolution + uncertainty (Murphy 1973). Exact when forecasts are grouped by distinct probabilities
 * (default); with `binCount` equal-width bins are used and the rest is given as `withinBins`.
 */
export function decomposeBrier(forecasts: readonly Forecast[], binCount?: number): BrierDecomposition {
  const groups = new Map<number, { count: number; correct: number; sum: number }>();
  for (const { probability, correct } of forecasts) {
    const key = binCount === undefined ? probability : binOfProbability(probability, binCount);
    const group = groups.get(key) ?? { count: 0, correct: 0, sum: 0 };
    group.count++;
    group.sum += probability;
    if (correct) group.correct++;
    groups.set(key, group);
  }
  const n = forecasts.length;
  const base = forecasts.reduce((k, f) => k + (f.correct ? 1 : 0), 0) / n;
  let reliability = 0;
  let resolution = 0;
  for (const key of [...groups.keys()].sort((a, b) => a - b)) {
    const { count, correct, sum } = groups.get(key)!;
    reliability += (count / n) * (correct / count - sum / count) ** 2;
    resolution += (count / n) * (correct / count - base) ** 2;
  }
  const brier = brierScore(forecasts);
  const uncertainty = base * (1 - base);
  return {
    brier, reliability, resolution, uncertainty,
    withinBins: brier - (reliability - resolution + uncertainty), skill: uncertainty > 0 ? 1 - brier / uncertainty : NaN,
  };
}
