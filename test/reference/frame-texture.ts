/** Plain reference in f64: per frame sums of log2 ratio, ratio, roots of power times past power, power, past power, ratio in other bins. */
export function referenceFrameTexture(
  power: ArrayLike<number>, binCount: number, floor: ArrayLike<number>, firstFrame: number, endFrame: number, firstBin: number, endBin: number,
  lag: number, highBin: number, highEnd: number,
): number[][] {
  return Array.from({ length: endFrame - firstFrame }, (_, i) => {
    const t = firstFrame + i;
    const sums = [0, 0, 0, 0, 0, 0];
    for (let b = firstBin; b < endBin; b++) {
      const p = power[t * binCount + b];
      const past = i >= lag ? power[(t - lag) * binCount + b] : 0;
      [Math.log2(p / floor[b] + 1e-6), p / floor[b], Math.sqrt(p * past), p, past].forEach((v, n) => { sums[n] += v; });
    }
    for (let b = highBin; b < highEnd; b++) sums[5] += power[t * binCount + b] / floor[b];
    return sums;
  });
}
