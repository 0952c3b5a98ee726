import type { HabitMeasure } from '../../schema/analysis-rows.js';
import type { DaysAfter } from '../exclusions/derive-exclusions.js';

export interface HabituationSettings {
  /** Largest change that still counts as back to baseline, as a share: 0.2 = within a fifth. Without it nothing is claimed to be back. */
  margin?: number;
  alpha: number;
  /** Days after each kind of handling that are compared with the baseline; what lies later is baseline. */
  testDays: DaysAfter;
  /** Baseline in seconds since the study's start; by default all time later than testDays after any handling. */
  baseline?: readonly [fromSec: number, toSec: number];
  /** Length of the spans that are compared at the same hours of the day. */
  slotHours: number;
  /** What must be back to baseline; by default all that is known. */
  measures?: readonly HabitMeasure[];
  /** Days excluded where nothing better is known. */
  daysAfter: DaysAfter;
}

/**
 * Five days after fitting and two after a battery change are looked at: more than the three and one that are common practice (no source), so
 * that a slower return is seen.
 */
export const DEFAULT_TEST_DAYS: DaysAfter = { fitted: 5, battery: 2, other: 2 };
