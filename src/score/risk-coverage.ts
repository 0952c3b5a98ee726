import type { Forecast } from './calibration.js';
import { estimateShare } from './intervals.js';
import type { Estimate } from './types.js';

/** What remains when only reports of at least `threshold` are kept. */
export interface RiskCoveragePoint {
  /** Reports with probability >= threshold are kept. */
  threshold: number;
  kept: number;
  correct: number;
  /** Share of all reports that are kept. */
  keptShare: number;
  /** Share of the kept reports that are right; 1 - precision is the risk. */
  precision: number;
}

/**
 * The risk-coverage curve (El-Yaniv & Wiener 2010; from memory): one point per distinct probability, from the highest down.
 * Reports of equal probability enter together.
 */
export function riskCoverageCurve(forecasts: readonly Forecast[]): RiskCoveragePoint[] {
  const sorted = [...forecasts].sort((a, b) => b.probability - a.probability);
  const points: RiskCoveragePoint[] = [];
  let correct = 0;
  for (let i = 0; i < sorted.length; i++) {
    if (sorted[i].correct) correct++;
    if (i + 1 < sorted.length && sorted[i + 1].probability === sorted[i].probability) continue;
    const kept = i + 1;
    points.push({ threshold: sorted[i].probability, kept, correct, keptShare: kept / sorted.length, precision: correct / kept });
  }
  return points;
}

/** At most `most` of the points, spread evenly over the kept share, the first and the last among them. */
export function thinCurve(points: readonly RiskCoveragePoint[], most = 201): RiskCoveragePoint[] {
  if (points.length <= most) return [...points];
  const kept: RiskCoveragePoint[] = [];
  points.forEach((point, i) => {
    const isDue = kept.length === 0 || point.keptShare - kept[kept.length - 1].keptShare >= 1 / (most - 2);
    if (isDue || i === points.length - 1) kept.push(point);
  });
  return kept;
}

/** Mean risk (1 - precision) over the kept share from 0 to 1: area under the curve, by steps between its points. NaN for no report. */
export function areaUnderRiskCoverage(points: readonly RiskCoveragePoint[]): number {
  if (!points.length) return NaN;
  let area = 0;
  let before = 0;
  for (const { keptShare, precision } of points) {
    area += (keptShare - before) * (1 - precision);
    before = keptShare;
  }
  return area;
}

export interface PrecisionChoice {
  /** The precision asked for. */
  asked: number;
  /** Keep reports of at least this probability; null where no threshold reaches the precision. */
  threshold: number | null;
  keptShare: number;
  kept: number;
  /** Precision reached on the labels, with Wilson interval. */
  precision: Estimate;
}

/**
 * The threshold that keeps most reports with at least the precision asked for, judged on labels. Kept share 0 and threshold null
 * where none reaches it.
 */
export function chooseByLabels(points: readonly RiskCoveragePoint[], asked: number): PrecisionChoice {
  let best: RiskCoveragePoint | undefined;
  for (const point of points) if (point.precision >= asked) best = point;
  return {
    asked, threshold: best?.threshold ?? null, keptShare: best?.keptShare ?? 0, kept: best?.kept ?? 0,
    precision: estimateShare(best?.correct ?? 0, best?.kept ?? 0),
  };
}

export interface ExpectedChoice {
  asked: number;
  threshold: number | null;
  keptShare: number;
  kept: number;
  /** Mean probability of the kept reports: their precision, if the probabilities are calibrated. */
  expectedPrecision: number | null;
}

/**
 * The same without labels: the mean probability of the kept reports is their expected precision. For real studies, where no truth is
 * at hand; worth as much as the calibration of the probabilities.
 */
export function chooseByProbability(probabilities: readonly number[], asked: number): ExpectedChoice {
  const sorted = [...probabilities].sort((a, b) => b - a);
  let sum = 0;
  let best: ExpectedChoice = { asked, threshold: null, keptShare: 0, kept: 0, expectedPrecision: null };
  for (let i = 0; i < sorted.length; i++) {
    sum += sorted[i];
    if (i + 1 < sorted.length && sorted[i + 1] === sorted[i]) continue;
    // Rounding of the sum must not lose a threshold whose mean is exactly what was asked for.
    if (sum / (i + 1) < asked - 1e-12) continue;
    best = { asked, threshold: sorted[i], keptShare: (i + 1) / sorted.length, kept: i + 1, expectedPrecision: sum / (i + 1) };
  }
  return best;
}
