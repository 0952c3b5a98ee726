/** What the report takes from the analyses: their tables, and what their records say of settings and claims. */
import type { DayMeasure, LatencyBin, NetworkEdge, TurnTaking } from '../analysis/network/index.js';
import type { ExclusionRow, HabituationRow, HourRateRow, RateRow } from '../schema/analysis-rows.js';

export interface ReportRates {
  rates: readonly RateRow[];
  byHour: readonly HourRateRow[];
  /** Where the excluded windows came from, in words. */
  excludedBy?: string;
  /** What hours of the day mean, a sentence. */
  clock?: string;
  /** False where hours count from the study's start, whose time of day is not known. */
  isClockKnown?: boolean;
  /** True where other time was left out than `excluded` of the report lists. */
  hasOwnWindows?: boolean;
  /** What the scatter of counts means for the intervals, in words. */
  dispersion?: string;
  /** Calls that were not counted, by reason. */
  leftOut?: Readonly<Record<string, number>>;
}

/** From which day on data may be used. */
export interface ReportDecision {
  /** '' = the group. */
  bird: string;
  after: HabituationRow['after'];
  testedDays: number;
  firstUsableDay: number | null;
  words: string;
}

export interface ReportHabituation {
  rows: readonly HabituationRow[];
  /** Half-width of the margin of equivalence as a share of the baseline; missing = none was set. */
  margin?: number;
  decisions: readonly ReportDecision[];
}

export interface ReportNetwork {
  edges: readonly NetworkEdge[];
  latencies: readonly LatencyBin[];
  turns?: readonly TurnTaking[];
  days?: readonly DayMeasure[];
  /** Of network.json, as far as it is there. */
  settings: Readonly<Partial<Record<'fromSec' | 'toSec' | 'threshold' | 'surrogates' | 'falseShare' | 'blockSec' | 'jitterSec' | 'missedShare', number>>>;
  counts?: Readonly<Record<string, number>>;
}

/** Every part where its tables are there. */
export interface ReportAnalyses {
  rates?: ReportRates;
  habituation?: ReportHabituation;
  network?: ReportNetwork;
  excluded?: readonly ExclusionRow[];
}
