import { VolaryError } from '../schema/errors.js';
import type { CallRow } from '../schema/rows.js';
import { chooseByProbability } from '../score/risk-coverage.js';
import type { ExpectedChoice } from '../score/risk-coverage.js';
import { UNTAGGED } from '../score/types.js';
import { expectChanceError, measureForecastErrors } from './forecast-errors.js';
import type { ForecastErrors, WeightedForecast } from './forecast-errors.js';
import type { Judgement } from './judge-rows.js';
import { applyLine, fitLine } from './rising-line.js';
import type { RisingLine } from './rising-line.js';

/** Fewer judged rows say too little. Own choice after bench/refit. */
export const LEAST_JUDGED = 50;
const FOLDS = 5;
const SHARES = [0.9, 0.95, 0.98, 0.99];

export interface RefitOptions {
  /** Rows below this probability are left out, as `attribute` does. Default 0.5. */
  threshold?: number;
}

export interface Refit {
  /** The table with its new probabilities; numbers of calls stay as they were. */
  calls: CallRow[];
  leftOut: number;
  judged: number;
  right: number;
  /** Share of right rows in the whole table, as far as the judged rows tell. */
  rightShare: number;
  line: RisingLine;
  /** Of the probabilities as they were. */
  before: ForecastErrors;
  /** Of new probabilities, each from a fit that has not seen the row (five folds). */
  after: ForecastErrors;
  /** Calibration error that right probabilities would show by chance. */
  chanceError: number;
  /** True where the new probabilities foretell rows that the fit has not seen better than the old ones (log loss). */
  isBetter: boolean;
  /** From which new probability on which share of rows is expected to be right. */
  thresholds: ExpectedChoice[];
}

/**
 * Calibrates the probabilities of a call table anew on rows that somebody has judged. Nothing is heard again: order, callers and times stay.
 * With few judged rows the correction shrinks towards none: towards the probabilities as they are in the table.
 * @throws VolaryError 'not-fit' with fewer than 50 judged rows, saying how many more are needed
 */
export function refitCalls(calls: readonly CallRow[], judgement: Judgement, options: RefitOptions = {}): Refit {
  const judged = judgement.rows;
  requireEnough(judged.length, calls.length);
  const line = fitLine(judged);
  const refitted = calls.map((call) => refitCall(call, line));
  const kept = refitted.filter((call) => call.probability >= (options.threshold ?? 0.5));
  const unseen = forecastUnseen(judgement);
  const before = measureForecastErrors(judged.map((r) => ({ ...r, probability: applyLine(SAME, r.probability, r.isUntagged) })));
  const after = measureForecastErrors(unseen);
  const weight = judged.reduce((s, r) => s + r.weight, 0);
  return {
    calls: kept.length < refitted.length ? countOverlaps(kept) : kept, leftOut: refitted.length - kept.length,
    judged: judged.length, right: judged.filter((r) => r.isRight).length, rightShare: judged.reduce((s, r) => s + (r.isRight ? r.weight : 0), 0) / weight,
    line, before, after, chanceError: expectChanceError(unseen), isBetter: after.logLoss < before.logLoss,
    thresholds: SHARES.map((share) => chooseByProbability(kept.map((c) => c.probability), share)),
  };
}

const SAME: RisingLine = { shift: 0, lowSlope: 1, highSlope: 1, untaggedShift: 0 };

function requireEnough(judged: number, rows: number): void {
  if (judged >= LEAST_JUDGED) return;
  const mend = rows < LEAST_JUDGED
    ? 'the table has fewer rows than that: keep its probabilities'
    : `judge ${LEAST_JUDGED - judged} more ('volary review DIR', key Q, or 'volary sample DIR')`;
  throw new VolaryError('not-fit', { where: 'labels', what: 'too few judged rows to calibrate on', got: String(judged), expected: `at least ${LEAST_JUDGED}`, mend });
}

/** What is left to others is shared among them as before. */
function refitCall(call: CallRow, line: RisingLine): CallRow {
  const probability = round(applyLine(line, call.probability, call.bird === UNTAGGED));
  const rest = (1 - probability) / Math.max(1e-4, 1 - call.probability);
  return { ...call, probability, runnerUpProbability: round(Math.min(1 - probability, call.runnerUpProbability * rest)) };
}

/** As the table is written, so that files and rows hold the same values. */
function round(probability: number): number {
  return Number(probability.toFixed(4));
}

/** A sample is in random order, so that every fifth row is a fair share; in a stretch neighbours are alike and are left out together. */
function forecastUnseen({ kind, rows }: Judgement): WeightedForecast[] {
  const foldOf = (n: number): number => (kind === 'stretch' ? Math.floor((FOLDS * n) / rows.length) : n % FOLDS);
  const lines = Array.from({ length: FOLDS }, (_, fold) => fitLine(rows.filter((_row, n) => foldOf(n) !== fold)));
  return rows.map((r, n) => ({ ...r, probability: applyLine(lines[foldOf(n)], r.probability, r.isUntagged) }));
}

/** Counts anew which calls overlap, once some are left out; calls in order of onset. */
function countOverlaps(calls: CallRow[]): CallRow[] {
  const out = calls.map((call) => ({ ...call, overlaps: 0 }));
  out.forEach((call, n) => {
    for (let m = n + 1; m < out.length && out[m].onsetSec < call.offsetSec; m++) {
      call.overlaps++;
      out[m].overlaps++;
    }
  });
  return out;
}
