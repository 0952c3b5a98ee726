import { VolaryError } from '../schema/errors.js';
import type { LabelRow } from '../schema/rows.js';
import { compareCalls, matchCalls } from './match-calls.js';
import type { Matching } from './match-calls.js';
import { cutIntoBlocks } from './time-blocks.js';
import type { TimeBlocks } from './time-blocks.js';
import { UNTAGGED } from './types.js';
import type { ReportedCall } from './types.js';

export interface ScoreOptions {
  /** Largest onset difference of a match in seconds. Default 0.05. */
  toleranceSec?: number;
  /** Collar of the diarization error rate in seconds. Default 0. */
  collarSec?: number;
  /** Score untagged callers as one more bird in the diarization error rate. Default false. */
  untaggedInDiarization?: boolean;
  /** Only these tagged birds are scored. Default all. */
  tracks?: readonly string[];
  /** Stretch that is scored, by onset, [from, to) in seconds. Default everything. */
  fromSec?: number;
  toSec?: number;
  /** Equal-width bins of the reliability curve. Default 15. */
  binCount?: number;
  /** Precisions to look up on the risk-coverage curve. */
  precisions?: readonly number[];
  resamples?: number;
  seed?: number;
}

/** Both tables in canonical order, matched both ways, and what of them is scored. */
export interface ScoreTables {
  calls: ReportedCall[];
  labels: LabelRow[];
  /** Whatever the bird. */
  any: Matching;
  /** Same bird only. */
  same: Matching;
  isLabelScored: boolean[];
  /** Reports that count where the bird does not matter. */
  isCallScoredAny: boolean[];
  /** Reports that count where the bird must be right. */
  isCallScoredSame: boolean[];
  /** Scored birds with a tag, ordered by name. */
  birds: string[];
  blocks: TimeBlocks;
  labelsOutside: number;
  callsOutside: number;
}

/**
 * Orders, matches and restricts the tables. Matching comes before restricting, so that a pair across an end of the stretch stays a pair:
 * a label inside keeps its report, a label outside takes its report with it, and a report without a label counts by its own onset.
 * @throws VolaryError 'bad-table', 'bad-labels' on times or probabilities that are no numbers, 'bad-option' on tracks nobody called on.
 */
export function prepareTables(callRows: readonly ReportedCall[], labelRows: readonly LabelRow[], options: ScoreOptions): ScoreTables {
  checkRows(callRows, labelRows);
  const calls = [...callRows].sort((a, b) => compareCalls(a, b) || b.probability - a.probability);
  const labels = [...labelRows].sort((a, b) => compareCalls(a, b) || compareText(extraKey(a), extraKey(b)));
  const { fromSec = -Infinity, toSec = Infinity } = options;
  const tracks = options.tracks && checkTracks(options.tracks, calls, labels);
  const isInside = (row: { onsetSec: number }): boolean => row.onsetSec >= fromSec && row.onsetSec < toSec;
  const isScored = (row: { bird: string; onsetSec: number }): boolean =>
    isInside(row) && (!tracks || row.bird === UNTAGGED || tracks.has(row.bird));
  const any = matchCalls(calls, labels, { toleranceSec: options.toleranceSec });
  const same = matchCalls(calls, labels, { toleranceSec: options.toleranceSec, sameBird: true });
  const isLabelScored = labels.map(isScored);
  const scoreCalls = (matching: Matching): boolean[] =>
    calls.map((call, i) => (matching.labelOfCall[i] >= 0 ? isLabelScored[matching.labelOfCall[i]] : isScored(call)));
  const names = new Set([...calls, ...labels].filter(isScored).map((row) => row.bird));
  names.delete(UNTAGGED);
  return {
    calls, labels, any, same, isLabelScored, isCallScoredAny: scoreCalls(any), isCallScoredSame: scoreCalls(same),
    birds: [...names].sort(compareText), blocks: blocksOf([...calls, ...labels].filter(isInside)),
    labelsOutside: labels.filter((l) => !isInside(l)).length, callsOutside: calls.filter((c) => !isInside(c)).length,
  };
}

function blocksOf(rows: readonly { onsetSec: number; offsetSec: number }[]): TimeBlocks {
  let start = Infinity;
  let end = -Infinity;
  for (const row of rows) {
    start = Math.min(start, row.onsetSec);
    end = Math.max(end, row.offsetSec);
  }
  return rows.length ? cutIntoBlocks(start, end) : cutIntoBlocks(0, 0);
}

function checkTracks(tracks: readonly string[], calls: readonly ReportedCall[], labels: readonly LabelRow[]): Set<string> {
  const known = new Set([...calls, ...labels].map((row) => row.bird));
  for (const track of tracks) {
    if (known.has(track) && track !== UNTAGGED) continue;
    throw new VolaryError('bad-option', {
      what: 'no call and no label of this bird', where: '--tracks', got: JSON.stringify(track),
      expected: [...known].filter((name) => name !== UNTAGGED).sort(compareText).join(', ') || 'a bird that is in the tables',
    });
  }
  return new Set(tracks);
}

function checkRows(calls: readonly ReportedCall[], labels: readonly LabelRow[]): void {
  calls.forEach((call, i) => {
    const isGood = Number.isFinite(call.onsetSec) && Number.isFinite(call.offsetSec) && call.probability >= 0 && call.probability <= 1;
    if (!isGood) {
      throw new VolaryError('bad-table', {
        what: 'a call without usable times or probability', where: `calls, row ${i + 1}`,
        got: `onset ${call.onsetSec}, offset ${call.offsetSec}, probability ${call.probability}`, expected: 'seconds, and a probability from 0 to 1',
      });
    }
  });
  labels.forEach((label, i) => {
    if (Number.isFinite(label.onsetSec) && label.offsetSec > label.onsetSec) return;
    throw new VolaryError('bad-labels', {
      what: 'a label without a duration', where: `labels, row ${i + 1}`, got: `onset ${label.onsetSec}, offset ${label.offsetSec}`,
      expected: 'seconds, the offset after the onset',
    });
  });
}

function extraKey(label: LabelRow): string {
  return Object.keys(label.extra).sort().map((key) => `${key}=${label.extra[key]}`).join(';');
}

/** Order by code unit, the same on every machine. */
function compareText(a: string, b: string): number {
  return a < b ? -1 : a > b ? 1 : 0;
}
