import type { LabelRow } from '../schema/rows.js';
import { findHostLabels } from './ghosts.js';
import { estimateF1, estimateRate, estimateShare } from './intervals.js';
import { sortedQuantile } from './quantile.js';
import type { ScoreTables } from './score-tables.js';
import { UNTAGGED } from './types.js';
import type { Estimate } from './types.js';

export interface LabelGroup {
  /** What the labels of this group have in common, such as '10 to 20 dB'. */
  group: string;
  labels: number;
  taggedLabels: number;
  detectionRecall: Estimate;
  attributionAccuracy: Estimate;
  /** Right time and right bird, tagged birds. Wrong reports that overlap a label belong to that label's group, others to none. */
  rightBirdPrecision: Estimate;
  rightBirdRecall: Estimate;
  rightBirdF1: Estimate;
  ghostsPerTrueCall: Estimate;
  onsetMedianMs: number | null;
}

export interface LabelSplit {
  /** Column of the label file. */
  column: string;
  groups: LabelGroup[];
}

interface Grouping {
  column: string;
  names: string[];
  /** Index into names, or -1 for none. */
  groupOf(value: number): number;
}

const GROUPINGS: Grouping[] = [
  byLimits('snr_db', [10, 20, 30], 'dB'),
  byFlag('overlap'),
  byLimits('near_m', [0.1, 0.3, 1], 'm'),
  byFlag('lost'),
  byFlag('clipped'),
];

/**
 * The main measures for groups of labels, by the columns `snr_db`, `overlap`, `near_m`, `lost` and `clipped` as far as the labels have
 * them. Labels without a number in the column are in no group; groups without a label are left out.
 * @param ghostOf for each report the label it is a ghost of, or -1.
 */
export function scoreSplits(tables: ScoreTables, ghostOf: Int32Array): LabelSplit[] {
  const wrongHost = findHostLabels(tables.calls, tables.labels, (i) =>
    tables.isCallScoredSame[i] && tables.calls[i].bird !== UNTAGGED && tables.same.labelOfCall[i] < 0, false, 0);
  const splits: LabelSplit[] = [];
  for (const grouping of GROUPINGS) {
    const groupOfLabel = tables.labels.map((label, i) => (tables.isLabelScored[i] ? findGroup(grouping, label) : -1));
    const groups = grouping.names.map((name, group) => scoreGroup(tables, name, (label) => label >= 0 && groupOfLabel[label] === group, ghostOf, wrongHost))
      .filter((group) => group.labels > 0);
    if (groups.length) splits.push({ column: grouping.column, groups });
  }
  return splits;
}

function scoreGroup(tables: ScoreTables, group: string, isIn: (label: number) => boolean, ghostOf: Int32Array, wrongHost: Int32Array): LabelGroup {
  const members = tables.labels.map((_, i) => i).filter(isIn);
  const tagged = members.filter((i) => tables.labels[i].bird !== UNTAGGED);
  const pairs = tables.any.pairs.filter((pair) => isIn(pair.label));
  const rightPairs = pairs.filter((pair) => tables.calls[pair.call].bird === tables.labels[pair.label].bird).length;
  const right = tagged.filter((i) => tables.same.callOfLabel[i] >= 0).length;
  const wrong = wrongHost.filter(isIn).length;
  const errorsMs = pairs.map((pair) => 1000 * Math.abs(tables.calls[pair.call].onsetSec - tables.labels[pair.label].onsetSec)).sort((a, b) => a - b);
  return {
    group, labels: members.length, taggedLabels: tagged.length,
    detectionRecall: estimateShare(pairs.length, members.length),
    attributionAccuracy: estimateShare(rightPairs, pairs.length),
    rightBirdPrecision: estimateShare(right, right + wrong),
    rightBirdRecall: estimateShare(right, tagged.length),
    rightBirdF1: estimateF1(right, wrong, tagged.length - right),
    ghostsPerTrueCall: estimateRate(ghostOf.filter(isIn).length, members.length),
    onsetMedianMs: errorsMs.length ? sortedQuantile(errorsMs, 0.5) : null,
  };
}

function findGroup(grouping: Grouping, label: LabelRow): number {
  const text = label.extra[grouping.column]?.trim() ?? '';
  const value = /^(true|yes)$/i.test(text) ? 1 : /^(false|no)$/i.test(text) ? 0 : text === '' ? NaN : Number(text);
  return Number.isFinite(value) ? grouping.groupOf(value) : -1;
}

/** Groups below, between and from the limits on; a limit belongs to the group above it. */
function byLimits(column: string, limits: number[], unit: string): Grouping {
  const names = [
    `below ${limits[0]} ${unit}`, ...limits.slice(1).map((limit, i) => `${limits[i]} to ${limit} ${unit}`), `from ${limits[limits.length - 1]} ${unit}`,
  ];
  return { column, names, groupOf: (value) => limits.filter((limit) => value >= limit).length };
}

function byFlag(column: string): Grouping {
  return { column, names: ['no', 'yes'], groupOf: (value) => (value > 0 ? 1 : 0) };
}
