/** Slow plain loops that the network's counts are checked against; they import nothing. */

/** Pairs of calls by lag, every pair looked at. Times in whole microseconds. */
export function countLags(caller: number[], replier: number[], binMicros: number, bins: number): number[] {
  const counts = new Array<number>(bins).fill(0);
  for (const a of caller) for (const b of replier) {
    const m = Math.floor((b - a) / binMicros);
    if (m >= 0 && m < bins) counts[m]++;
  }
  return counts;
}

/** Calls with at least one reply in [from, to) after them. */
export function countReplied(caller: number[], replier: number[], from: number, to: number): number {
  return caller.filter((a) => replier.some((b) => b - a >= from && b - a < to)).length;
}

/** The same on a ring of the given length, the caller moved by `shift`. */
export function countRepliedOnRing(caller: number[], replier: number[], length: number, shift: number, from: number, to: number): number {
  const around = (x: number): number => ((x % length) + length) % length;
  return caller.filter((a) => replier.some((b) => { const d = around(b - a - shift); return d >= from && d < to; })).length;
}
