/** Plain references in f64: short-time spectra, their power and the overlap-add inverse. */

/** Spectra [s][k] as interleaved re, im of one track; zeros outside it. */
export function referenceStft(x: ArrayLike<number>, window: ArrayLike<number>, n: number, firstFrame: number, hop: number, count: number): Float64Array[] {
  const out: Float64Array[] = [];
  for (let s = 0; s < count; s++) {
    const bins = new Float64Array(2 * (n / 2 + 1));
    for (let k = 0; k <= n / 2; k++) {
      for (let p = 0; p < window.length; p++) {
        const f = firstFrame + s * hop + p;
        if (f < 0 || f >= x.length) continue;
        const turn = (2 * Math.PI * ((k * p) % n)) / n;
        bins[2 * k] += window[p] * x[f] * Math.cos(turn);
        bins[2 * k + 1] -= window[p] * x[f] * Math.sin(turn);
      }
    }
    out.push(bins);
  }
  return out;
}

/** Overlap-add of real frames y_s[p] with the window, divided by the sum of squared windows (0 where that is nothing). */
export function referenceOverlapAdd(frames: ArrayLike<number>[], window: ArrayLike<number>, firstFrame: number, hop: number, frameCount: number): Float64Array {
  const sum = new Float64Array(frameCount);
  const weight = new Float64Array(frameCount);
  frames.forEach((y, s) => {
    for (let p = 0; p < window.length; p++) {
      const f = firstFrame + s * hop + p;
      if (f < 0 || f >= frameCount) continue;
      sum[f] += window[p] * y[p];
      weight[f] += window[p] * window[p];
    }
  });
  const largest = weight.reduce((a, b) => Math.max(a, b), 0);
  return sum.map((v, f) => (weight[f] > 0 && weight[f] >= 1e-6 * largest ? v / weight[f] : 0));
}
