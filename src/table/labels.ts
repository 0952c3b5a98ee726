import { quoteName, VolaryError } from '../schema/errors.js';
import type { LabelRow } from '../schema/rows.js';
import { parseDecimal, readCsv } from './csv-text.js';

const NEEDED = ['bird', 'onset_s', 'offset_s'] as const;

/**
 * Reads labelled calls from CSV text with the columns bird, onset_s and offset_s; further columns are kept as text.
 * Rows may be in any order and come back in the order of the file.
 * @throws VolaryError 'bad-labels' naming row, column, what was found and what was expected.
 * @example readLabels('bird,onset_s,offset_s\nred,1.25,1.4\n', 'truth.csv')
 */
export function readLabels(csvText: string, name = 'labels'): LabelRow[] {
  const { columns, rows } = readCsv(csvText, name, 'bad-labels', NEEDED);
  const extras = columns.filter((c) => c !== '' && !(NEEDED as readonly string[]).includes(c));
  const seen = new Map<string, number>();
  return rows.map(({ row, values }) => {
    const refuse = (column: string, expected: string, what = 'wrong value'): never => {
      throw new VolaryError('bad-labels', { where: `${quoteName(name)} row ${row} column ${column}`, what, got: quoteName(values[column]), expected });
    };
    const readTime = (column: string): number => {
      const time = parseDecimal(values[column]) ?? refuse(column, 'seconds with a decimal point');
      return time < 0 ? refuse(column, "seconds since the study's start, 0 or more") : time;
    };
    if (values.bird === '') refuse('bird', "a bird's name, or none for a caller without a tag");
    const onsetSec = readTime('onset_s');
    const offsetSec = readTime('offset_s');
    if (offsetSec <= onsetSec) refuse('offset_s', `more than onset_s ${values.onset_s}`, 'the call ends before it starts');
    const key = `${onsetSec} ${offsetSec} ${values.bird}`;
    const twin = seen.get(key);
    if (twin !== undefined) refuse('onset_s', 'every call once', `the same call as in row ${twin}`);
    seen.set(key, row);
    return { bird: values.bird, onsetSec, offsetSec, extra: Object.fromEntries(extras.map((c) => [c, values[c]])) };
  });
}
