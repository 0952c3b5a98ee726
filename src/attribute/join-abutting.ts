import type { AttributedCall } from './attribution.js';

/** No bird ends one call and begins the next within this time: such rows are parts of one call, cut where its level or make changed. */
const ABUTTING_SEC = 0.008;

/**
 * Joins calls of one caller that overlap or abut; birds without a tag count as one caller, for they are not told apart. The surer part lends its candidate and its probabilities.
 * @param calls in any order
 * @returns calls by onset, then caller
 */
export function joinAbutting(calls: readonly AttributedCall[]): AttributedCall[] {
  const last = new Map<number, AttributedCall>();
  const out: AttributedCall[] = [];
  for (const call of [...calls].sort(compareCalls)) {
    const before = last.get(call.caller);
    if (before && call.onsetSec - before.offsetSec < ABUTTING_SEC) {
      const surer = call.probability > before.probability ? call : before;
      Object.assign(before, surer, { onsetSec: before.onsetSec, offsetSec: Math.max(before.offsetSec, call.offsetSec) });
      continue;
    }
    const kept = { ...call };
    out.push(kept);
    last.set(call.caller, kept);
  }
  return out;
}

function compareCalls(a: AttributedCall, b: AttributedCall): number {
  return a.onsetSec - b.onsetSec || a.caller - b.caller;
}
