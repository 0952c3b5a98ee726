import { adjustBenjaminiHochberg, adjustHolm } from '../../numeric/adjust-p-values.js';
import { computeDetectable, estimateMean, testEquivalence } from '../../numeric/equivalence.js';
import type { MeanEstimate } from '../../numeric/equivalence.js';
import { testSignFlip } from '../../numeric/sign-flip.js';
import type { HabituationRow } from '../../schema/analysis-rows.js';

/** What is known of one day, measure and bird (or the group) before it is judged. */
export interface Evidence extends Pick<HabituationRow, 'bird' | 'after' | 'day' | 'measure' | 'value' | 'baseline'> {
  change: number;
  /** Relative changes whose mean is tested: by hour for a bird, by bird for the group. */
  changes: number[];
  /** Changes of baseline days against the other baseline days; NaN where a day is not known. */
  dayChanges: number[];
}

const LEAST_PAIRS = 3;

/**
 * Tests the days of one bird, or of the group: exact sign flips against no change, corrected over all rows given, and two one-sided tests
 * against the margin.
 * The standard error is the larger of what the pairs say and of how far undisturbed days move, because hours of one day, and birds in one
 * room, move together.
 */
export function judgeRows(evidence: readonly Evidence[], margin: number | undefined, alpha: number): HabituationRow[] {
  const flips = evidence.map((e) => (e.changes.length >= LEAST_PAIRS ? testSignFlip(e.changes) : undefined));
  const holm = adjustHolm(flips.map((f) => f?.pValue ?? NaN));
  const bh = adjustBenjaminiHochberg(flips.map((f) => f?.pValue ?? NaN));
  return evidence.map((e, n): HabituationRow => {
    const estimate = estimateError(e);
    const flip = flips[n];
    const test = testEquivalence(estimate, margin ?? NaN, alpha);
    const isEquivalent = margin !== undefined && test.pValue < alpha;
    return {
      bird: e.bird, after: e.after, day: e.day, measure: e.measure, pairs: e.changes.length, value: e.value, baseline: e.baseline, change: e.change,
      low: test.low, high: test.high, standardError: estimate.standardError, dof: estimate.dof, pFlip: flip?.pValue ?? NaN, pHolm: holm[n], pBh: bh[n],
      isExact: flip ? (flip.isExact ? 'yes' : 'no') : '', pEquivalence: margin === undefined ? NaN : test.pValue, detectable: computeDetectable(estimate.standardError, estimate.dof, alpha),
      verdict: !flip || !(estimate.dof > 0) ? 'too little data' : isEquivalent ? 'equivalent' : holm[n] < alpha ? 'different' : 'undecided',
    };
  });
}

function estimateError(e: Evidence): MeanEstimate {
  if (e.changes.length < LEAST_PAIRS) return { mean: e.change, standardError: NaN, dof: NaN };
  const pairs = { ...estimateMean(e.changes), mean: e.change };
  const known = e.dayChanges.filter(Number.isFinite);
  const days = known.length;
  if (days < LEAST_PAIRS) return pairs;
  // Each was compared with the mean of the others: root mean square with one degree of freedom less than days.
  const byDays = { mean: e.change, standardError: Math.sqrt(known.reduce((s, c) => s + c * c, 0) / days), dof: days - 1 };
  const [t1, t2] = [pairs, byDays].map((m) => computeDetectable(m.standardError, m.dof));
  return t2 > t1 ? byDays : pairs;
}
