import type { Score } from './score-calls.js';
import type { VerifiedScore } from './score-verified.js';

/** Version of the layout of score.json. */
export const SCORE_SCHEMA_VERSION = 1;

/** The score as JSON text: numbers to nine decimals, undefined ones null, one line end at the end. */
export function scoreToJson(score: Score): string {
  return toJson({ kind: 'volary-score', schemaVersion: SCORE_SCHEMA_VERSION, ...score });
}

/** The same for an error rate estimated from a verified sample. */
export function verifiedScoreToJson(score: VerifiedScore): string {
  return toJson({ kind: 'volary-verified-score', schemaVersion: SCORE_SCHEMA_VERSION, ...score });
}

/** JSON text with numbers to nine decimals, undefined ones null, one line end at the end. */
export function toJson(content: object): string {
  const clean = (_key: string, value: unknown): unknown => {
    if (typeof value !== 'number') return value;
    return Number.isFinite(value) ? Number(value.toFixed(9)) : null;
  };
  return `${JSON.stringify(content, clean, 1)}\n`;
}
