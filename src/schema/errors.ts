/** Stable codes of every error that a user can meet. */
export type ErrorCode =
  | 'bad-audio' | 'unsupported-audio' | 'unreadable' | 'bad-study' | 'bad-scene' | 'bad-labels' | 'bad-table'
  | 'bad-option' | 'exists' | 'missing' | 'not-fit' | 'no-data' | 'stale' | 'interrupted' | 'internal';

export interface ErrorDetail {
  /** What went wrong, a short sentence without a full stop. */
  what: string;
  /** Where: a file, a place in a manifest, a row. */
  where?: string;
  got?: string;
  expected?: string;
  /** How to mend it. */
  mend?: string;
}

/**
 * The one error class: a stable code and one line that says what, where, got, expected and how to mend.
 * @example throw new VolaryError('bad-study', { what: 'wrong sample rate', where: 'tracks[2]', got: '0', expected: 'a positive number' })
 */
export class VolaryError extends Error {
  readonly code: ErrorCode;
  readonly detail: ErrorDetail;
  constructor(code: ErrorCode, detail: ErrorDetail, options?: { cause?: unknown }) {
    super(formatErrorDetail(detail), options);
    this.name = 'VolaryError';
    this.code = code;
    this.detail = detail;
  }
}

/** Quotes a name for one line of text: control characters escaped, so that a file name cannot break the line. */
export function quoteName(name: string): string {
  return JSON.stringify(name).replace(/[\u007f-\u009f\u2028\u2029]/g, (c) => `\\u${c.charCodeAt(0).toString(16).padStart(4, '0')}`);
}

function formatErrorDetail(d: ErrorDetail): string {
  let line = d.where ? `${d.where}: ${d.what}` : d.what;
  if (d.got !== undefined) line += `; got ${d.got}`;
  if (d.expected !== undefined) line += `; expected ${d.expected}`;
  if (d.mend !== undefined) line += `; ${d.mend}`;
  return line.replace(/[\r\n]+/g, ' ');
}
