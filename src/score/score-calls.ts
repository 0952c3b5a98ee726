import type { LabelRow } from '../schema/rows.js';
import type { BootstrapOptions } from './bootstrap.js';
import { scoreCalibration } from './score-calibration.js';
import type { CalibrationScore } from './score-calibration.js';
import { scoreDiarization } from './score-diarization.js';
import type { DiarizationScore } from './score-diarization.js';
import { findGhosts } from './ghosts.js';
import { estimateRate } from './intervals.js';
import { scoreSplits } from './label-splits.js';
import type { LabelSplit } from './label-splits.js';
import { scoreAttribution, scoreDetection, scoreRightBird, scoreTiming, scoreUntagged } from './match-scores.js';
import type { AttributionScore, DetectionScore, RightBirdScore, TimingScore, UntaggedScore } from './match-scores.js';
import { prepareTables } from './score-tables.js';
import type { ScoreOptions, ScoreTables } from './score-tables.js';
import { UNTAGGED } from './types.js';
import type { Estimate, ReportedCall } from './types.js';

export type { ScoreOptions } from './score-tables.js';

export interface Score {
  settings: {
    toleranceSec: number; collarSec: number; untaggedInDiarization: boolean; tracks: string[] | null; fromSec: number | null; toSec: number | null;
    binCount: number; resamples: number; seed: number; blockSec: number; blockCount: number;
  };
  counts: {
    calls: number; labels: number; taggedLabels: number; untaggedLabels: number; birds: string[];
    /** Rows left out because their onset lies outside the scored stretch. */
    labelsOutside: number; callsOutside: number;
  };
  /** Was there a call, whoever made it; untagged callers included. */
  detection: DetectionScore;
  /** Who made it, on calls that were found. */
  attribution: AttributionScore;
  /** Right time and right bird, tagged birds. */
  rightBird: RightBirdScore;
  ghosts: { count: number; perTrueCall: Estimate };
  untagged: UntaggedScore;
  diarization: DiarizationScore;
  timing: { onset: TimingScore; offset: TimingScore };
  calibration: CalibrationScore;
  splits: LabelSplit[];
}

/**
 * Scores a call table against labels. All numbers are independent of the order of the rows. Definitions:
 * - match: onsets at most 50 ms apart and overlapping, one to one, largest total intersection over union (see `matchCalls`);
 * - detection: matching whatever the bird, untagged callers included;
 * - right time and right bird: matching restricted to the same bird, tagged birds only;
 * - ghost: see `findGhosts`, counted per labelled call (tagged or not);
 * - a report is right for calibration when it matches a label of the same bird, `none` counting as a bird.
 * Intervals are 95 %: Wilson for shares, Poisson for rates, BCa bootstrap over blocks of time for F1, error rates and quantiles.
 * @throws VolaryError 'bad-table', 'bad-labels', 'bad-option'.
 */
export function scoreCalls(calls: readonly ReportedCall[], labels: readonly LabelRow[], options: ScoreOptions = {}): Score {
  const tables = prepareTables(calls, labels, options);
  const bootstrap: BootstrapOptions = { resamples: options.resamples ?? 1000, seed: options.seed ?? 20240229 };
  const ghostOf = findGhosts(tables.calls, tables.labels, tables.same.labelOfCall)
    .map((host, call) => (tables.isCallScoredSame[call] ? host : -1));
  const ghostCount = ghostOf.reduce((n, host) => n + (host >= 0 ? 1 : 0), 0);
  const labelCount = tables.isLabelScored.filter(Boolean).length;
  return {
    settings: describeSettings(tables, options, bootstrap),
    counts: countRows(tables),
    detection: scoreDetection(tables, bootstrap),
    attribution: scoreAttribution(tables),
    rightBird: scoreRightBird(tables, bootstrap),
    ghosts: { count: ghostCount, perTrueCall: estimateRate(ghostCount, labelCount) },
    untagged: scoreUntagged(tables),
    diarization: scoreDiarization(tables, options, bootstrap),
    timing: scoreTiming(tables, bootstrap),
    calibration: scoreCalibration(tables, options, bootstrap),
    splits: scoreSplits(tables, ghostOf),
  };
}

function describeSettings(tables: ScoreTables, options: ScoreOptions, bootstrap: BootstrapOptions): Score['settings'] {
  return {
    toleranceSec: options.toleranceSec ?? 0.05, collarSec: options.collarSec ?? 0, untaggedInDiarization: options.untaggedInDiarization ?? false,
    tracks: options.tracks ? [...options.tracks] : null, fromSec: options.fromSec ?? null, toSec: options.toSec ?? null,
    binCount: options.binCount ?? 15, resamples: bootstrap.resamples!, seed: bootstrap.seed!,
    blockSec: tables.blocks.blockSec, blockCount: tables.blocks.count,
  };
}

function countRows(tables: ScoreTables): Score['counts'] {
  const labels = tables.labels.filter((_, i) => tables.isLabelScored[i]);
  const untaggedLabels = labels.filter((l) => l.bird === UNTAGGED).length;
  return {
    calls: tables.isCallScoredAny.filter(Boolean).length, labels: labels.length, taggedLabels: labels.length - untaggedLabels,
    untaggedLabels, birds: tables.birds, labelsOutside: tables.labelsOutside, callsOutside: tables.callsOutside,
  };
}
