/** What scoring needs to know of a call: who, from when, until when (half-open). */
export interface TimedCall {
  /** Name of the bird, or UNTAGGED. */
  bird: string;
  onsetSec: number;
  offsetSec: number;
}

/** A reported call together with the probability that it is a real call of that bird. */
export interface ReportedCall extends TimedCall {
  probability: number;
}

/** The name that stands for a caller without a tag. */
export const UNTAGGED = 'none';

/** A number with its interval. `null` where it is not defined, for example a precision without any report. */
export interface Estimate {
  value: number | null;
  low: number | null;
  high: number | null;
  /** How the interval was found. */
  method: 'wilson' | 'wilson-f1' | 'poisson' | 'bca' | 'percentile' | 'stratified' | 'none';
}

export const UNDEFINED_ESTIMATE: Estimate = { value: null, low: null, high: null, method: 'none' };
