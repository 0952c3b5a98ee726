import { quoteName, VolaryError } from '../schema/errors.js';
import { HANDLING_KINDS } from '../schema/analysis-rows.js';
import type { HandlingKind, HandlingRow, MovementRow } from '../schema/analysis-rows.js';
import { parseDecimal, readCsv } from './csv-text.js';
import { parseDateTime } from '../numeric/date-time.js';

const NEEDED = ['bird', 'time', 'what'] as const;
const ISO_TIME = /^\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2}(\.\d+)?)?(Z|[+-]\d{2}:?\d{2})$/i;

/**
 * Reads a handling log from CSV text with the columns bird, time and what; rows come back in order of time.
 * @param startUtc RFC 3339 time of the study's start; needed where a time is not in seconds
 * @throws VolaryError 'bad-table' naming row and column
 * @example readHandling('bird,time,what\nred,2031-05-01T06:30:00Z,fitted\n', 'handling.csv', '2031-05-01T06:00:00Z')
 */
export function readHandling(csvText: string, name: string, startUtc?: string): HandlingRow[] {
  const rows = readCsv(csvText, name, 'bad-table', NEEDED).rows.map(({ row, values }): HandlingRow => {
    const where = (column: string): string => `${quoteName(name)} row ${row} column ${column}`;
    const what = values.what as HandlingKind;
    if (!HANDLING_KINDS.includes(what)) throw new VolaryError('bad-table', { where: where('what'), what: 'wrong value', got: quoteName(values.what), expected: `one of ${HANDLING_KINDS.join(', ')}` });
    if (values.bird === 'none') throw new VolaryError('bad-table', { where: where('bird'), what: "'none' stands for callers without a tag", expected: "a bird's name, or nothing for all birds" });
    return { bird: values.bird, timeSec: readTime(values.time, where('time'), startUtc), what };
  });
  return rows.sort((a, b) => a.timeSec - b.timeSec);
}

function readTime(text: string, where: string, startUtc: string | undefined): number {
  const seconds = parseDecimal(text);
  if (seconds !== undefined) return seconds;
  const timeMs = ISO_TIME.test(text) ? parseDateTime(text.replace(' ', 'T').toUpperCase()) : NaN;
  if (!Number.isFinite(timeMs)) {
    throw new VolaryError('bad-table', { where, what: 'wrong value', got: quoteName(text), expected: "seconds since the study's start, or a time such as 2031-05-01T06:30:00Z" });
  }
  const startMs = startUtc === undefined ? NaN : Date.parse(startUtc);
  if (!Number.isFinite(startMs)) {
    throw new VolaryError('bad-table', { where, what: "a time of day, but the study's start is not known", got: quoteName(text), mend: "give it with --start, or write seconds since the study's start" });
  }
  return (timeMs - startMs) / 1000;
}

/** Reads a movement table from CSV text with the columns bird, t_s and value. Throws like readHandling. */
export function readMovement(csvText: string, name: string): MovementRow[] {
  const rows = readCsv(csvText, name, 'bad-table', ['bird', 't_s', 'value']).rows.map(({ row, values }): MovementRow => {
    const readNumber = (column: string): number => {
      const value = parseDecimal(values[column]);
      if (value === undefined) throw new VolaryError('bad-table', { where: `${quoteName(name)} row ${row} column ${column}`, what: 'wrong value', got: quoteName(values[column]), expected: 'a number with a decimal point' });
      return value;
    };
    if (values.bird === '') throw new VolaryError('bad-table', { where: `${quoteName(name)} row ${row} column bird`, what: 'wrong value', got: '""', expected: "a bird's name" });
    return { bird: values.bird, timeSec: readNumber('t_s'), value: readNumber('value') };
  });
  return rows.sort((a, b) => a.timeSec - b.timeSec);
}
