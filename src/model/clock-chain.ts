/** Offsets of all recorders but the first at evenly spaced knots, linear between, ms. */
export interface ClockChain {
  knotSec: number[];
  stepSec: number;
  /** Recorders other than the reference. */
  others: number;
  /** Offset of recorder q + 1 at knot k: value[k * others + q]. */
  value: Float64Array;
}

export function createChain(durationSec: number, spacingSec: number, others: number): ClockChain {
  const n = Math.max(2, Math.round(durationSec / spacingSec));
  const stepSec = Math.max(1e-3, durationSec) / n;
  return { knotSec: Array.from({ length: n + 1 }, (_, k) => k * stepSec), stepSec, others, value: new Float64Array((n + 1) * others) };
}

/** Index of the knot before a time; the end pieces serve what lies outside. */
export function findKnot(chain: ClockChain, tSec: number): number {
  return Math.min(chain.knotSec.length - 2, Math.max(0, Math.floor(tSec / chain.stepSec)));
}

/** Offset of a recorder (0 = reference) at a time, ms. */
export function readChain(chain: ClockChain, recorder: number, tSec: number): number {
  if (recorder === 0) return 0;
  const k = findKnot(chain, tSec);
  const share = tSec / chain.stepSec - k;
  const at = k * chain.others + recorder - 1;
  return chain.value[at] + (chain.value[at + chain.others] - chain.value[at]) * share;
}
