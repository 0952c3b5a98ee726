import { quoteName, VolaryError } from '../../schema/errors.js';
import type { CallRow } from '../../schema/rows.js';

export interface ClipChoice {
  /** Least probability of a call. */
  threshold: number;
  /** Only these birds ('none' = callers without a tag); without it all. */
  birds?: readonly string[];
  /** At most so many calls of each bird, spread evenly over its calls in order of time. */
  most?: number;
}

/**
 * Chooses calls to cut, in order of onset.
 * @param known birds that may be asked for beside those in the table
 * @throws VolaryError 'bad-option' for a bird that is not known
 */
export function chooseClips(calls: readonly CallRow[], choice: ClipChoice, known: readonly string[] = []): CallRow[] {
  const names = [...new Set([...known, ...calls.map((c) => c.bird)])];
  for (const bird of choice.birds ?? []) {
    if (!names.includes(bird)) throw new VolaryError('bad-option', { where: '--birds', what: 'no such bird', got: quoteName(bird), expected: names.map((n) => quoteName(n)).join(', ').slice(0, 300) || 'a bird of the table' });
  }
  const byBird = new Map<string, CallRow[]>();
  const inOrder = calls.toSorted((a, b) => a.onsetSec - b.onsetSec || a.callId - b.callId);
  for (const call of inOrder) {
    if (call.probability < choice.threshold || (choice.birds && !choice.birds.includes(call.bird))) continue;
    const own = byBird.get(call.bird);
    if (own) own.push(call); else byBird.set(call.bird, [call]);
  }
  const kept = new Set([...byBird.values()].flatMap((own) => spreadEvenly(own, choice.most ?? own.length)));
  return inOrder.filter((c) => kept.has(c));
}

/** At most `most` entries, one from the middle of each of `most` equal parts: no choice by loudness or sureness. */
function spreadEvenly<T>(list: readonly T[], most: number): T[] {
  if (list.length <= most) return [...list];
  return Array.from({ length: most }, (_, k) => list[Math.floor(((k + 0.5) * list.length) / most)]);
}
