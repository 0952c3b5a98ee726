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

/** Plain reference of what these sums say together: flatness, likeness to the past, rise. */
export function referenceMeanTexture(sums: readonly (readonly number[])[], width: number, lag: number, high?: ArrayLike<number>): number[] {
  let flat = 0, steady = 0, rise = 0;
  sums.forEach((s, t) => {
    flat += 2 ** (s[0] / width) / (s[1] / width + 1e-12);
    if (t >= lag) steady += s[2] / Math.sqrt(s[3] * s[4] + 1e-30);
    rise += high ? high[t] : s[5];
  });
  return [flat, steady, rise];
}
