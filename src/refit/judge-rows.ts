import { VolaryError } from '../schema/errors.js';
import type { CallRow, LabelRow } from '../schema/rows.js';
import { prepareTables } from '../score/score-tables.js';
import { scoreVerified } from '../score/score-verified.js';
import type { VerifiedCall } from '../score/score-verified.js';
import { UNTAGGED } from '../score/types.js';
import type { JudgedRow } from './rising-line.js';

/** Rows that somebody has judged, in the order of the sample or of time. */
export interface Judgement {
  kind: 'sample' | 'stretch';
  rows: JudgedRow[];
}

/** A stretch of which every call is labelled, [fromSec, toSec). */
export interface LabelledStretch {
  fromSec: number;
  toSec: number;
  /** Largest onset difference of a match in seconds. Default 0.05. */
  toleranceSec?: number;
}

/**
 * What a verified sample says of the rows that were drawn, in the order of the sample; each row stands for its share of its stratum.
 * @throws VolaryError 'stale', 'bad-labels' and 'no-data' as `scoreVerified`
 */
export function judgeSample(calls: readonly CallRow[], sample: readonly VerifiedCall[]): Judgement {
  const { strata } = scoreVerified(calls, sample);
  const weightOf = new Map(strata.map((s) => [s.stratum, s.size / s.trials]));
  const byId = new Map(calls.map((call) => [call.callId, call]));
  const rows = sample.filter((row) => row.bird !== '').map((row) => {
    const call = byId.get(row.callId)!;
    return judge(call, row.bird === call.bird, weightOf.get(row.stratum)!);
  });
  return { kind: 'sample', rows };
}

/**
 * What labels of a stretch say of its rows, right and wrong as `scoreCalls` counts them, in order of time. Rows of the stretch without a
 * label count as wrong.
 * @throws VolaryError 'bad-labels', 'bad-table' on times that are no numbers, 'no-data' where no label lies in the stretch
 */
export function judgeStretch(calls: readonly CallRow[], labels: readonly LabelRow[], stretch: LabelledStretch): Judgement {
  const tables = prepareTables(calls, labels, stretch);
  if (!tables.isLabelScored.some(Boolean)) {
    throw new VolaryError('no-data', { where: 'labels', what: 'none lies in the stretch', got: `${labels.length} labels, none from ${stretch.fromSec} to ${stretch.toSec} s`, expected: 'a stretch that was labelled in full' });
  }
  return { kind: 'stretch', rows: tables.calls.flatMap((call, i) => (tables.isCallScoredSame[i] ? [judge(call, tables.same.labelOfCall[i] >= 0, 1)] : [])) };
}

function judge(call: Pick<CallRow, 'bird' | 'probability'>, isRight: boolean, weight: number): JudgedRow {
  return { probability: call.probability, isUntagged: call.bird === UNTAGGED, isRight, weight };
}
