import { bootstrapEstimate } from './bootstrap.js';
import type { BootstrapOptions } from './bootstrap.js';
import { estimateShare } from './intervals.js';
import type { ScoreTables } from './score-tables.js';
import { BlockCounts, BlockValues, estimateBlockF1, sum } from './time-blocks.js';
import { UNTAGGED } from './types.js';
import type { Estimate } from './types.js';

export interface DetectionScore {
  truePositives: number;
  falsePositives: number;
  falseNegatives: number;
  precision: Estimate;
  recall: Estimate;
  f1: Estimate;
}

export interface RightBirdScore extends DetectionScore {
  /** Means over the birds that have a label or a report. */
  macro: { precision: number | null; recall: number | null; f1: Estimate };
  perBird: ({ bird: string; labels: number; reports: number } & DetectionScore)[];
}

export interface AttributionScore {
  /** Share of matched calls that were given to the right bird (`none` is a bird). */
  accuracy: Estimate;
  /**
   * Rows: who called, tagged birds by name, then `none`; the last row holds reports without a call. Columns: who was reported, the last
   * column holds calls without a report.
   */
  confusion: { rows: string[]; columns: string[]; counts: number[][] };
}

export interface UntaggedScore {
  labels: number;
  /** Calls of untagged callers that were reported at all. */
  found: Estimate;
  /** Calls of untagged callers that were given to a tagged bird. */
  givenToTagged: Estimate;
}

export interface TimingScore {
  pairs: number;
  /** Of the absolute difference report - label, in milliseconds. */
  medianMs: Estimate;
  p95Ms: Estimate;
  /** Mean of the signed difference: above 0 = reports are late. */
  meanMs: Estimate;
}

/** Detection whatever the bird, untagged callers included. */
export function scoreDetection(tables: ScoreTables, bootstrap: BootstrapOptions): DetectionScore {
  const counts = new BlockCounts(tables.blocks);
  tables.labels.forEach((label, i) => {
    if (!tables.isLabelScored[i]) return;
    const into = tables.any.callOfLabel[i] >= 0 ? counts.truePositives : counts.falseNegatives;
    into[tables.blocks.blockOf(label.onsetSec)]++;
  });
  tables.calls.forEach((call, i) => {
    if (tables.isCallScoredAny[i] && tables.any.labelOfCall[i] < 0) counts.falsePositives[tables.blocks.blockOf(call.onsetSec)]++;
  });
  return describeCounts(counts, bootstrap);
}

/** Right time and right bird over tagged birds. */
export function scoreRightBird(tables: ScoreTables, bootstrap: BootstrapOptions): RightBirdScore {
  const perBird = new Map(tables.birds.map((bird) => [bird, new BlockCounts(tables.blocks)]));
  const all = new BlockCounts(tables.blocks);
  const add = (bird: string, kind: 'truePositives' | 'falsePositives' | 'falseNegatives', timeSec: number): void => {
    const block = tables.blocks.blockOf(timeSec);
    all[kind][block]++;
    perBird.get(bird)![kind][block]++;
  };
  tables.labels.forEach((label, i) => {
    if (!tables.isLabelScored[i] || label.bird === UNTAGGED) return;
    add(label.bird, tables.same.callOfLabel[i] >= 0 ? 'truePositives' : 'falseNegatives', label.onsetSec);
  });
  tables.calls.forEach((call, i) => {
    if (!tables.isCallScoredSame[i] || call.bird === UNTAGGED || tables.same.labelOfCall[i] >= 0) return;
    add(call.bird, 'falsePositives', call.onsetSec);
  });
  const birds = [...perBird].map(([bird, counts]) => {
    const score = describeCounts(counts, bootstrap);
    return { bird, labels: score.truePositives + score.falseNegatives, reports: score.truePositives + score.falsePositives, ...score };
  });
  const macroF1 = (drawn: Float64Array): number => meanOf([...perBird.values()].map((counts) => counts.f1(drawn)));
  return {
    ...describeCounts(all, bootstrap),
    macro: {
      precision: orNull(meanOf(birds.map((b) => b.precision.value ?? NaN))), recall: orNull(meanOf(birds.map((b) => b.recall.value ?? NaN))),
      f1: bootstrapEstimate(tables.blocks.count, macroF1, bootstrap),
    },
    perBird: birds,
  };
}

function describeCounts(counts: BlockCounts, bootstrap: BootstrapOptions): DetectionScore {
  const [truePositives, falsePositives, falseNegatives] = [counts.truePositives, counts.falsePositives, counts.falseNegatives].map(sum);
  return {
    truePositives, falsePositives, falseNegatives,
    precision: estimateShare(truePositives, truePositives + falsePositives), recall: estimateShare(truePositives, truePositives + falseNegatives),
    f1: estimateBlockF1(counts, bootstrap),
  };
}

/** Attribution on matched calls, and who was taken for whom. */
export function scoreAttribution(tables: ScoreTables): AttributionScore {
  const pairs = tables.any.pairs.filter((pair) => tables.isLabelScored[pair.label]);
  const right = pairs.filter((pair) => tables.calls[pair.call].bird === tables.labels[pair.label].bird).length;
  return { accuracy: estimateShare(right, pairs.length), confusion: countConfusion(tables) };
}

/** Name of the last row: reports where nobody called. */
export const NO_CALL = '(no call)';
/** Name of the last column: calls that were not reported. */
export const NOT_REPORTED = '(not reported)';

function countConfusion(tables: ScoreTables): AttributionScore['confusion'] {
  const reported = new Set(tables.calls.filter((_, i) => tables.isCallScoredAny[i]).map((call) => call.bird));
  // With a choice of tracks a scored label may have been given to a bird that is not among them.
  const others = [...reported].filter((name) => name !== UNTAGGED && !tables.birds.includes(name)).sort();
  const rows = [...tables.birds, UNTAGGED, NO_CALL];
  const columns = [...tables.birds, ...others, UNTAGGED, NOT_REPORTED];
  const counts = rows.map(() => new Array<number>(columns.length).fill(0));
  tables.labels.forEach((label, i) => {
    if (!tables.isLabelScored[i]) return;
    const call = tables.any.callOfLabel[i];
    counts[rows.indexOf(label.bird)][columns.indexOf(call < 0 ? NOT_REPORTED : tables.calls[call].bird)]++;
  });
  tables.calls.forEach((call, i) => {
    if (tables.isCallScoredAny[i] && tables.any.labelOfCall[i] < 0) counts[rows.indexOf(NO_CALL)][columns.indexOf(call.bird)]++;
  });
  return { rows, columns, counts };
}

/** What became of the calls of untagged callers. */
export function scoreUntagged(tables: ScoreTables): UntaggedScore {
  let labels = 0;
  let found = 0;
  let given = 0;
  tables.labels.forEach((label, i) => {
    if (!tables.isLabelScored[i] || label.bird !== UNTAGGED) return;
    labels++;
    const call = tables.any.callOfLabel[i];
    if (call < 0) return;
    found++;
    if (tables.calls[call].bird !== UNTAGGED) given++;
  });
  return { labels, found: estimateShare(found, labels), givenToTagged: estimateShare(given, labels) };
}

/** Errors of onset and offset over all matched calls, whatever the bird. */
export function scoreTiming(tables: ScoreTables, bootstrap: BootstrapOptions): { onset: TimingScore; offset: TimingScore } {
  const pairs = tables.any.pairs.filter((pair) => tables.isLabelScored[pair.label]);
  const describe = (key: 'onsetSec' | 'offsetSec'): TimingScore => {
    const items = pairs.map((pair) => ({
      timeSec: tables.labels[pair.label].onsetSec, value: 1000 * (tables.calls[pair.call][key] - tables.labels[pair.label][key]),
    }));
    const absolute = new BlockValues(tables.blocks, items.map((item) => ({ ...item, value: Math.abs(item.value) })));
    return {
      pairs: pairs.length, medianMs: absolute.estimateQuantile(0.5, bootstrap), p95Ms: absolute.estimateQuantile(0.95, bootstrap),
      meanMs: new BlockValues(tables.blocks, items).estimateMean(bootstrap),
    };
  };
  return { onset: describe('onsetSec'), offset: describe('offsetSec') };
}

/** Mean of the values that exist; NaN for none. */
function meanOf(values: readonly number[]): number {
  const known = values.filter((v) => !Number.isNaN(v));
  return known.reduce((a, b) => a + b, 0) / known.length;
}

function orNull(value: number): number | null {
  return Number.isFinite(value) ? value : null;
}
