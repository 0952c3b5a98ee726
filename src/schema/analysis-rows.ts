/** Rows of the tables that the analyses read and write. Times in seconds since the study's start on the clock of the first recorder. */

export const HANDLING_KINDS = ['fitted', 'battery', 'removed', 'other'] as const;
export type HandlingKind = (typeof HANDLING_KINDS)[number];

/** A bird was handled. */
export interface HandlingRow {
  /** '' = all birds. */
  bird: string;
  timeSec: number;
  what: HandlingKind;
}

/** A stretch of time that no analysis may use. */
export interface ExclusionRow {
  /** '' = all birds. */
  bird: string;
  startSec: number;
  endSec: number;
  reason: string;
}

/** One value of a movement sensor. */
export interface MovementRow {
  bird: string;
  timeSec: number;
  value: number;
}

/** Calls outside song, song bouts, the syllables in bouts, and calls and syllables together. */
export const RATE_KINDS = ['calls', 'bouts', 'syllables', 'all'] as const;
export type RateKind = (typeof RATE_KINDS)[number];

export interface RateRow {
  /** '' = all birds together, per bird. */
  bird: string;
  what: RateKind;
  usableSec: number;
  /** Number of events, or the sum of their probabilities. */
  count: number;
  perHour: number;
  /** Exact 95 % Poisson interval of perHour. */
  low: number;
  high: number;
  /** Number of hours that the dispersion is estimated from. */
  hours: number;
  /** Variance over mean of counts per usable hour. */
  dispersion: number;
  /** The same about the mean of each hour of the day: scatter that the rhythm of the day does not explain. */
  dispersionWithin: number;
  quasiLow: number;
  quasiHigh: number;
}

export interface HourRateRow extends RateRow { hour: number }
export interface DayRateRow extends RateRow { day: number; date: string }

export interface BoutRow {
  bird: string;
  onsetSec: number;
  offsetSec: number;
  syllables: number;
}

/** Calls per hour outside song, mean interval between calls, when in the day they come, body sounds per hour or the values of a movement sensor. */
export const HABIT_MEASURES = ['calls', 'interval', 'timing', 'movement'] as const;
export type HabitMeasure = (typeof HABIT_MEASURES)[number];

export const HABIT_VERDICTS = ['equivalent', 'different', 'undecided', 'too little data'] as const;
export type HabitVerdict = (typeof HABIT_VERDICTS)[number];

/** One day after a kind of handling against the baseline at the same hours of the day. */
export interface HabituationRow {
  /** '' = the group. */
  bird: string;
  after: Exclude<HandlingKind, 'removed'>;
  /** 1 = the first 24 hours after the handling. */
  day: number;
  measure: HabitMeasure;
  /** Pairs compared: hours for a bird, birds for the group. */
  pairs: number;
  value: number;
  baseline: number;
  /** Relative change: 0.1 = a tenth above the baseline. */
  change: number;
  /** 90 % interval of the change. */
  low: number;
  high: number;
  standardError: number;
  dof: number;
  /** Two-sided sign-flip test of no change, alone and corrected for all days, kinds and measures. */
  pFlip: number;
  pHolm: number;
  pBh: number;
  isExact: 'yes' | 'no' | '';
  /** Two one-sided tests against the margin; NaN without a margin. */
  pEquivalence: number;
  /** Change that would have been found with power 0.8. */
  detectable: number;
  verdict: HabitVerdict;
}
