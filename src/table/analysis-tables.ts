import { HABIT_MEASURES, HABIT_VERDICTS, HANDLING_KINDS, RATE_KINDS } from '../schema/analysis-rows.js';
import type { BoutRow, DayRateRow, ExclusionRow, HabituationRow, HandlingRow, HourRateRow, RateRow } from '../schema/analysis-rows.js';
import type { ColumnSpec, TableSpec } from './table-specs.js';

const SECONDS = { type: 'number', decimals: 6, unit: 's' } as const;
const SINCE = "in seconds since the study's start on the clock of the first recorder";

export const handlingTable: TableSpec<HandlingRow> = {
  name: 'handling',
  title: 'Handling log',
  description: 'When birds were handled.',
  columns: [
    { name: 'bird', key: 'bird', type: 'string', isOptional: true, description: 'Bird that was handled; empty = all birds.' },
    { name: 'time', key: 'timeSec', ...SECONDS, description: `Moment ${SINCE}; read also as an ISO 8601 time with Z or an offset.` },
    { name: 'what', key: 'what', type: 'string', values: HANDLING_KINDS, description: 'fitted: the tag was put on; battery: it was changed; removed: the tag was taken off; other: any other handling.' },
  ],
};

export const exclusionTable: TableSpec<ExclusionRow> = {
  name: 'excluded',
  title: 'Excluded time',
  description: 'Stretches of time that no analysis uses, with the reason. Half-open: the start is excluded, the end is not.',
  columns: [
    { name: 'bird', key: 'bird', type: 'string', isOptional: true, description: 'Bird whose data are left out; empty = all birds.' },
    { name: 'start_s', key: 'startSec', ...SECONDS, description: `Start ${SINCE}.` },
    { name: 'end_s', key: 'endSec', ...SECONDS, description: `End ${SINCE}.` },
    { name: 'reason', key: 'reason', type: 'string', description: 'Why it is left out.' },
  ],
};

const BIRD = { name: 'bird', key: 'bird', type: 'string', isOptional: true, description: 'Bird; empty = mean of all birds.' } as const;
const WHAT = { name: 'what', key: 'what', type: 'string', values: RATE_KINDS, description: 'calls: outside song bouts; bouts: song bouts; syllables: calls inside bouts; all: calls and syllables.' } as const;
const perHour = { type: 'number', decimals: 4, unit: '1/h', isOptional: true } as const;

const RATE_COLUMNS: readonly ColumnSpec<RateRow>[] = [
  { name: 'usable_s', key: 'usableSec', ...SECONDS, minimum: 0, description: 'Time that could be used: link up, nothing excluded.' },
  { name: 'count', key: 'count', type: 'number', decimals: 4, minimum: 0, description: 'Number of events in that time, or the sum of their probabilities where weighted.' },
  { name: 'per_hour', key: 'perHour', ...perHour, description: 'Events per usable hour and bird.' },
  { name: 'low', key: 'low', ...perHour, description: 'Lower end of the exact 95 % Poisson interval (Garwood 1936), right where events come independently.' },
  { name: 'high', key: 'high', ...perHour, description: 'Upper end of that interval.' },
  { name: 'hours', key: 'hours', type: 'integer', minimum: 0, description: 'Hours of at least five usable minutes, from which the dispersion is estimated.' },
  { name: 'dispersion', key: 'dispersion', type: 'number', decimals: 4, minimum: 0, isOptional: true, description: 'Variance over mean of the counts per hour; 1 where events come independently at a steady rate.' },
  { name: 'dispersion_within', key: 'dispersionWithin', type: 'number', decimals: 4, minimum: 0, isOptional: true, description: 'The same about the mean of each hour of the day over all days: scatter that the rhythm of the day does not explain.' },
  { name: 'quasi_low', key: 'quasiLow', ...perHour, description: 'Lower end of the 95 % quasi-Poisson interval, widened by the root of dispersion_within, or of dispersion where there is only one day.' },
  { name: 'quasi_high', key: 'quasiHigh', ...perHour, description: 'Upper end of that interval.' },
];

export const rateTable: TableSpec<RateRow> = {
  name: 'rates', title: 'Rates', description: 'Events per usable hour of every bird.', primaryKey: ['bird', 'what'],
  columns: [BIRD, WHAT, ...RATE_COLUMNS],
};

export const hourRateTable: TableSpec<HourRateRow> = {
  name: 'rates-by-hour', title: 'Rates by hour of day', description: 'Events per usable hour of every bird in each hour of the day, all days together.', primaryKey: ['bird', 'what', 'hour'],
  columns: [
    BIRD, WHAT, { name: 'hour', key: 'hour', type: 'integer', minimum: 0, maximum: 23, description: "Hour of the day that starts at this full hour; counted from the study's start where no time of day is known." },
    ...(RATE_COLUMNS as readonly ColumnSpec<HourRateRow>[]),
  ],
};

export const dayRateTable: TableSpec<DayRateRow> = {
  name: 'rates-by-day', title: 'Rates by day', description: 'Events per usable hour of every bird on each day.', primaryKey: ['bird', 'what', 'day'],
  columns: [
    BIRD, WHAT,
    { name: 'day', key: 'day', type: 'integer', minimum: 1, description: "Day of the study; the first day ends at midnight, or 24 h after the study's start where no time of day is known." },
    { name: 'date', key: 'date', type: 'string', isOptional: true, description: 'Date of that day; empty where no time of day is known.' },
    ...(RATE_COLUMNS as readonly ColumnSpec<DayRateRow>[]),
  ],
};

export const boutTable: TableSpec<BoutRow> = {
  name: 'bouts', title: 'Song bouts', description: 'Runs of syllables of one bird with short gaps.', primaryKey: ['bird', 'onset_s'],
  columns: [
    { name: 'bird', key: 'bird', type: 'string', description: 'Bird that sang.' },
    { name: 'onset_s', key: 'onsetSec', ...SECONDS, description: `Onset of the first syllable ${SINCE}.` },
    { name: 'offset_s', key: 'offsetSec', ...SECONDS, description: `Offset of the last syllable ${SINCE}.` },
    { name: 'syllables', key: 'syllables', type: 'integer', minimum: 1, description: 'Number of syllables.' },
  ],
};

const CHANGE = { type: 'number', decimals: 4, isOptional: true } as const;
const P_VALUE = { type: 'number', decimals: 6, minimum: 0, maximum: 1, isOptional: true } as const;

export const habituationTable: TableSpec<HabituationRow> = {
  name: 'habituation', title: 'Habituation', description: 'Every day after a handling against the baseline at the same hours of the day.', primaryKey: ['bird', 'after', 'measure', 'day'],
  columns: [
    { name: 'bird', key: 'bird', type: 'string', isOptional: true, description: 'Bird; empty = the group.' },
    { name: 'after', key: 'after', type: 'string', values: ['fitted', 'battery', 'other'], description: 'Kind of handling.' },
    { name: 'day', key: 'day', type: 'integer', minimum: 1, description: 'Day after the handling; 1 = the first 24 hours.' },
    { name: 'measure', key: 'measure', type: 'string', values: HABIT_MEASURES, description: 'calls: calls outside song per usable hour; interval: geometric mean of intervals between calls in s; timing: centre of calling within the day, hour of the day; movement: body sounds per usable hour, or the mean value of a movement sensor.' },
    { name: 'pairs', key: 'pairs', type: 'integer', minimum: 0, description: 'Pairs compared: hours for a bird, birds for the group.' },
    { name: 'value', key: 'value', ...CHANGE, description: 'Mean of that day.' },
    { name: 'baseline', key: 'baseline', ...CHANGE, description: 'Mean of the baseline at the same hours of the day.' },
    { name: 'change', key: 'change', ...CHANGE, description: 'Change against the baseline as a share of it: 0.1 = a tenth more; for intervals the mean difference of logarithms, for timing the shift as a share of the standard deviation of calling hours in the baseline, positive = later.' },
    { name: 'low', key: 'low', ...CHANGE, description: 'Lower end of the 90 % interval of the change.' },
    { name: 'high', key: 'high', ...CHANGE, description: 'Upper end of that interval.' },
    { name: 'standard_error', key: 'standardError', ...CHANGE, description: 'Standard error of the change: the larger of what the pairs say and of how far baseline days move.' },
    { name: 'dof', key: 'dof', type: 'integer', minimum: 0, isOptional: true, description: 'Degrees of freedom of the standard error.' },
    { name: 'p_flip', key: 'pFlip', ...P_VALUE, description: 'Two-sided paired sign-flip test of no change.' },
    { name: 'p_holm', key: 'pHolm', ...P_VALUE, description: 'That p value after Holm, over all days, kinds and measures of this bird or of the group.' },
    { name: 'p_bh', key: 'pBh', ...P_VALUE, description: 'The same after Benjamini and Hochberg.' },
    { name: 'exact', key: 'isExact', type: 'string', values: ['yes', 'no', ''], isOptional: true, description: 'yes: all sign patterns were looked at; no: patterns drawn from a seed.' },
    { name: 'p_equivalence', key: 'pEquivalence', ...P_VALUE, description: 'Larger p value of two one-sided t tests against the margin; empty without a margin.' },
    { name: 'detectable', key: 'detectable', ...CHANGE, description: 'Change, as a share of the baseline, that a two-sided test at 0.05 would have found with power 0.8.' },
    { name: 'verdict', key: 'verdict', type: 'string', values: HABIT_VERDICTS, description: 'equivalent: shown to be within the margin; different: the corrected sign-flip test finds a change; undecided: neither.' },
  ],
};
