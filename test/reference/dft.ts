/** Plain references in f64: the discrete Fourier transform by its definition. */

/** X[k] = sum x[p] exp(-i 2 pi k p / n), k = 0 .. n/2; returns interleaved re, im. */
export function referenceRealDft(x: ArrayLike<number>): Float64Array {
  const n = x.length;
  const out = new Float64Array(2 * (Math.floor(n / 2) + 1));
  for (let k = 0; k <= n / 2; k++) {
    for (let p = 0; p < n; p++) {
      const turn = (2 * Math.PI * ((k * p) % n)) / n;
      out[2 * k] += x[p] * Math.cos(turn);
      out[2 * k + 1] -= x[p] * Math.sin(turn);
    }
  }
  return out;
}

/** x[p] = (1/n) sum over all k of X[k] exp(i 2 pi k p / n), from bins 0 .. n/2 of a real signal. */
export function referenceRealInverse(bins: ArrayLike<number>, n: number): Float64Array {
  const out = new Float64Array(n);
  for (let p = 0; p < n; p++) {
    let sum = bins[0] + (p % 2 ? -1 : 1) * bins[n];
    for (let k = 1; k < n / 2; k++) {
      const turn = (2 * Math.PI * ((k * p) % n)) / n;
      sum += 2 * (bins[2 * k] * Math.cos(turn) - bins[2 * k + 1] * Math.sin(turn));
    }
    out[p] = sum / n;
  }
  return out;
}
