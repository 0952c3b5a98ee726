/** Plain references in f64: who owns a bin, what a track owns per frame, pedestal of broadband noise. */

export interface ReferenceOwnership { owner: number[]; leadDb: number[]; owned: number[][]; margin: number[] }

/**
 * Owner of each bin of the band by mean power over 3 x 3 bins, floor taken off, times the track's scale. `margin` is how far (relative)
 * the decision is from any other: where it is next to nothing, rounding decides.
 */
export function referenceOwnership(
  power: ArrayLike<number>[], frameCount: number, binCount: number, floors: ArrayLike<number>[], scale: ArrayLike<number>,
  lost: ArrayLike<number>[], firstBin: number, endBin: number, leastSnr: number,
): ReferenceOwnership {
  const size = frameCount * binCount;
  const out: ReferenceOwnership = { owner: Array(size).fill(255), leadDb: Array(size).fill(0), owned: power.map(() => Array(frameCount).fill(0)), margin: Array(size).fill(Infinity) };
  for (let t = 0; t < frameCount; t++) {
    for (let b = firstBin; b < endBin; b++) {
      const k = t * binCount + b;
      let best = 0;
      let second = 0;
      power.forEach((p, j) => {
        if (lost[j][t]) return;
        let smooth = 0;
        for (const u of [t - 1, t, t + 1]) for (const c of [b - 1, b, b + 1]) smooth += p[Math.min(frameCount - 1, Math.max(0, u)) * binCount + c] / 9;
        const q = (smooth - floors[j][b]) * scale[j];
        out.margin[k] = Math.min(out.margin[k], Math.abs(smooth / (leastSnr * floors[j][b]) - 1), Math.abs(smooth / floors[j][b] - 1));
        if (q > best) {
          second = best;
          best = q;
          out.owner[k] = smooth > leastSnr * floors[j][b] ? j : 255;
        } else if (q > second) second = q;
      });
      out.margin[k] = Math.min(out.margin[k], best > 0 ? Math.abs(1 - second / best) : Infinity);
      const owner = out.owner[k];
      if (owner === 255) continue;
      out.leadDb[k] = Math.min(60, 10 * Math.log10(best / Math.max(second, 1e-30)));
      out.owned[owner][t] += power[owner][k] - floors[owner][b];
    }
  }
  return out;
}

/** Sum of power over pedestal times floor on owned bins; the plain excess where the pedestal is 1. */
export function referenceOwnedOver(
  power: ArrayLike<number>, frameCount: number, binCount: number, floor: ArrayLike<number>, owner: ArrayLike<number>, track: number,
  firstBin: number, endBin: number, pedestal: ArrayLike<number>,
): number[] {
  return Array.from({ length: frameCount }, (_, t) => {
    let sum = 0;
    for (let b = firstBin; b < endBin; b++) {
      if (owner[t * binCount + b] !== track) continue;
      const excess = power[t * binCount + b] - pedestal[t] * floor[b];
      sum += pedestal[t] === 1 ? excess : Math.max(0, excess);
    }
    return sum;
  });
}

/** Order statistic of power over floor, NaN last, times a factor, at least 1. */
export function referencePedestal(
  power: ArrayLike<number>, frameCount: number, binCount: number, floor: ArrayLike<number>, level: ArrayLike<number>, leastDb: number,
  firstBin: number, endBin: number, rank: number, factor: number,
): number[] {
  return Array.from({ length: frameCount }, (_, t) => {
    if (!(level[t] >= leastDb)) return 1;
    const ratios = Array.from({ length: endBin - firstBin }, (_unused, i) => power[t * binCount + firstBin + i] / floor[firstBin + i]);
    const sorted = ratios.map((r) => (Number.isNaN(r) ? Infinity : r)).sort((a, b) => a - b);
    return Math.max(1, factor * sorted[rank]);
  });
}
