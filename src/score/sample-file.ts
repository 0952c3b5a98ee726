import { quoteName, VolaryError } from '../schema/errors.js';
import type { CallRow } from '../schema/rows.js';
import type { DrawnCall } from './sample-calls.js';
import type { VerifiedCall } from './score-verified.js';
import { parseDecimal, quoteCsvField, readCsv } from '../table/csv-text.js';

/** The label format with what ties a row to the table it was drawn from. `bird` is empty until somebody has listened. */
const COLUMNS = ['call_id', 'track', 'bird', 'onset_s', 'offset_s', 'stratum', 'weight'] as const;

/** The sample as CSV, in the order in which to verify, with what was heard where it is known. The reported bird is left out, so that it cannot sway who listens. */
export function formatSample(calls: readonly CallRow[], drawn: readonly (DrawnCall & { bird?: string })[]): string {
  const byId = new Map(calls.map((call) => [call.callId, call]));
  const lines = drawn.map(({ callId, stratum, weight, bird = '' }) => {
    const call = byId.get(callId)!;
    return [callId, quoteCsvField(call.track), quoteCsvField(bird), call.onsetSec.toFixed(6), call.offsetSec.toFixed(6), stratum, weight.toFixed(9)].join(',');
  });
  return `${[COLUMNS.join(','), ...lines].join('\n')}\n`;
}

/** True for a file that `volary sample` has drawn, verified or not. */
export function isSample(text: string, name: string): boolean {
  const { columns } = readCsv(text, name, 'bad-labels', ['bird', 'onset_s', 'offset_s']);
  return ['call_id', 'stratum', 'weight'].every((column) => columns.includes(column));
}

/**
 * Reads a sample, with `bird` filled in as far as it is verified.
 * @throws VolaryError 'bad-labels' naming row and column.
 */
export function readSample(text: string, name: string): VerifiedCall[] {
  return readCsv(text, name, 'bad-labels', COLUMNS.filter((column) => column !== 'track')).rows.map(({ row, values }) => {
    const readNumber = (column: string, expected: string, isGood: (value: number) => boolean): number => {
      const value = parseDecimal(values[column]);
      if (value !== undefined && isGood(value)) return value;
      throw new VolaryError('bad-labels', { where: `${quoteName(name)} row ${row} column ${column}`, what: 'wrong value', got: quoteName(values[column]), expected });
    };
    return {
      row, bird: values.bird, callId: readNumber('call_id', 'a whole number', (v) => Number.isInteger(v) && v >= 0),
      onsetSec: readNumber('onset_s', 'seconds with a decimal point', () => true),
      stratum: readNumber('stratum', 'a whole number of at least 1', (v) => Number.isInteger(v) && v >= 1),
      weight: readNumber('weight', 'a number of at least 1', (v) => v >= 1),
    };
  });
}
