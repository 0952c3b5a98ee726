import { quoteName, VolaryError } from '../schema/errors.js';
import { estimateStratifiedShare } from './stratified.js';
import type { Stratum } from './stratified.js';
import { UNTAGGED } from './types.js';
import type { Estimate, ReportedCall } from './types.js';

/** Written as bird by a person who hears no call at all. */
export const NO_CALL_HEARD = 'no_call';

/** A drawn call, verified by ear or not yet. */
export interface VerifiedCall {
  callId: number;
  /** Number of the row in the file, for messages. */
  row: number;
  /** Who called: a bird, 'none', NO_CALL_HEARD; '' = not verified yet. */
  bird: string;
  onsetSec: number;
  stratum: number;
  weight: number;
}

export interface VerifiedStratum extends Stratum {
  stratum: number;
  /** Of all calls of the stratum; of its drawn ones where the table's order has changed since. */
  lowProbability: number;
  highProbability: number;
  meanProbability: number;
}

export interface VerifiedScore {
  calls: number;
  drawn: number;
  verified: number;
  /** Share of all rows that are a real call of the bird they name. */
  right: Estimate;
  /** Share of all rows that are no call at all. */
  noCall: Estimate;
  /** Share of all rows that are a call of somebody else. */
  otherBird: Estimate;
  /** What the probabilities claim: their mean over the table. */
  claimed: number;
  strata: VerifiedStratum[];
  /** False where probabilities have changed since the sample was drawn, so that strata are no stretches of the table in order of probability any more. */
  isInOrder: boolean;
  /** What would be right if only the strata from this probability on were kept; empty where they are not in order. */
  kept: { fromProbability: number; keptShare: number; precision: Estimate }[];
}

type KeyedCall = ReportedCall & { callId: number };

/**
 * Error rate of a whole call table from a sample that was verified by ear, each row weighted by what it stands for.
 * Rows not verified yet are left out; within a stratum the order of the sample is random, so that the verified ones stay a fair sample.
 * @throws VolaryError 'stale' where the sample was drawn from another table, 'bad-labels' on unusable strata and on names that are misspelt, 'no-data' with nothing verified.
 */
export function scoreVerified(calls: readonly KeyedCall[], sample: readonly VerifiedCall[], toleranceSec = 0.05): VerifiedScore {
  const byId = new Map(calls.map((call) => [call.callId, call]));
  const strata = new Map<number, { drawn: KeyedCall[]; size: number; calls: KeyedCall[]; birds: string[] }>();
  const checkName = makeNameCheck(calls);
  const seen = new Set<number>();
  for (const row of sample) {
    const call = findCall(byId, row, seen, toleranceSec);
    const stratum = strata.get(row.stratum) ?? { drawn: [], size: 0, calls: [], birds: [] };
    strata.set(row.stratum, stratum);
    stratum.drawn.push(call);
    stratum.size += row.weight;
    if (row.bird === '') continue;
    checkName(row);
    stratum.calls.push(call);
    stratum.birds.push(row.bird);
  }
  const parts = [...strata].sort(([a], [b]) => a - b).map(([stratum, part]) => ({ stratum, ...part, size: Math.round(part.size) }));
  checkSizes(parts.reduce((sum, part) => sum + part.size, 0), calls.length, parts.reduce((sum, part) => sum + part.birds.length, 0));
  const count = (isCounted: (call: KeyedCall, bird: string) => boolean): Stratum[] => parts.map((part) =>
    ({ size: part.size, trials: part.birds.length, successes: part.birds.filter((bird, i) => isCounted(part.calls[i], bird)).length }));
  const right = count((call, bird) => bird === call.bird);
  const whole = probabilityRanges(calls, parts.map((part) => part.size));
  const isInOrder = parts.every((part, i) => part.drawn.every((c) => c.probability >= whole[i].lowProbability && c.probability <= whole[i].highProbability));
  const ranges = isInOrder ? whole : parts.flatMap((part) => probabilityRanges(part.drawn, [part.drawn.length]));
  return {
    calls: calls.length, drawn: sample.length, verified: sample.filter((row) => row.bird !== '').length,
    right: estimateStratifiedShare(right),
    noCall: estimateStratifiedShare(count((_, bird) => bird === NO_CALL_HEARD)),
    otherBird: estimateStratifiedShare(count((call, bird) => bird !== NO_CALL_HEARD && bird !== call.bird)),
    claimed: calls.reduce((sum, call) => sum + call.probability, 0) / calls.length,
    strata: parts.map((part, i) => ({ stratum: part.stratum, ...right[i], ...ranges[i] })),
    isInOrder,
    kept: !isInOrder ? [] : ranges.map(({ lowProbability }, i) => {
      const above = right.slice(i);
      return {
        fromProbability: lowProbability,
        keptShare: above.reduce((sum, s) => sum + s.size, 0) / calls.length, precision: estimateStratifiedShare(above),
      };
    }),
  };
}

/** Who is heard may be a bird without a row, but a known name in other letters is a slip that would count as somebody else. */
function makeNameCheck(calls: readonly ReportedCall[]): (row: VerifiedCall) => void {
  const known = new Set([UNTAGGED, NO_CALL_HEARD, ...calls.map((call) => call.bird)]);
  const fold = (name: string): string => name.toLowerCase().replace(/[\s_-]+/g, '');
  const spelt = new Map([...known].map((name) => [fold(name), name]));
  return ({ row, bird }) => {
    const meant = spelt.get(fold(bird));
    if (known.has(bird) || meant === undefined) return;
    throw new VolaryError('bad-labels', { where: `sample, row ${row} column bird`, what: 'a misspelt name', got: quoteName(bird), expected: quoteName(meant) });
  };
}

function findCall(byId: ReadonlyMap<number, KeyedCall>, row: VerifiedCall, seen: Set<number>, toleranceSec: number): KeyedCall {
  const where = `sample, row ${row.row}`;
  const call = byId.get(row.callId);
  if (!call || Math.abs(call.onsetSec - row.onsetSec) > toleranceSec + 1e-9) {
    throw new VolaryError('stale', {
      where, what: 'the sample was not drawn from this call table', got: `call ${row.callId} at ${row.onsetSec} s`,
      expected: call ? `call ${row.callId} at ${call.onsetSec} s` : 'a call_id of calls.csv', mend: "draw again with 'volary sample'",
    });
  }
  if (seen.has(row.callId)) throw new VolaryError('bad-labels', { where, what: 'the same call twice', got: `call ${row.callId}` });
  seen.add(row.callId);
  return call;
}

function checkSizes(size: number, calls: number, verified: number): void {
  if (size !== calls) {
    throw new VolaryError('stale', {
      where: 'sample', what: 'the weights do not add up to the rows of this call table', got: String(size), expected: String(calls),
      mend: "keep all rows of the sample, or draw again with 'volary sample'",
    });
  }
  if (verified === 0) {
    throw new VolaryError('no-data', {
      where: 'sample', what: 'no row is verified yet', mend: `write into the column bird who calls: a bird, none, or ${NO_CALL_HEARD} where there is no call`,
    });
  }
}

/** Strata are stretches of the table in order of probability, so their sizes tell their limits. */
function probabilityRanges(calls: readonly KeyedCall[], sizes: readonly number[]): Omit<VerifiedStratum, keyof Stratum | 'stratum'>[] {
  const sorted = calls.map((call) => call.probability).sort((a, b) => a - b);
  let end = 0;
  return sizes.map((size) => {
    const part = sorted.slice(end, (end += size));
    return {
      lowProbability: part[0], highProbability: part[part.length - 1], meanProbability: part.reduce((a, b) => a + b, 0) / part.length,
    };
  });
}
