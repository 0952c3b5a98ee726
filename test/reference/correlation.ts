/** Plain references in f64: cross-correlation by its sum, and the averaged whitened correlation of one pair by its definition. */

/** r[lag + maxLag] = sum a[p] b[p + lag]. */
export function referenceCrossCorrelation(a: ArrayLike<number>, b: ArrayLike<number>, maxLag: number): Float64Array {
  const out = new Float64Array(2 * maxLag + 1);
  for (let lag = -maxLag; lag <= maxLag; lag++) {
    for (let p = 0; p < a.length; p++) if (p + lag >= 0 && p + lag < b.length) out[lag + maxLag] += a[p] * b[p + lag];
  }
  return out;
}

/**
 * Averaged correlation of two lists of spectra (interleaved re, im, bins 0 .. n/2), exponent 1: phase only, 0.5: root, 0: plain;
 * normalised by both energies; lags in steps of 1 / upsample.
 */
export function referencePairCorrelation(
  x: ArrayLike<number>[], y: ArrayLike<number>[], n: number, exponent: number, weight: (bin: number) => number,
  mask: (spectrum: number, bin: number) => number, upsample: number, maxLagSteps: number,
): Float64Array {
  const re = new Float64Array(n / 2 + 1);
  const im = new Float64Array(n / 2 + 1);
  let ex = 0;
  let ey = 0;
  x.forEach((_, s) => {
    for (let k = 0; k <= n / 2; k++) {
      const [ar, ai, br, bi] = [x[s][2 * k], x[s][2 * k + 1], y[s][2 * k], y[s][2 * k + 1]];
      const sa = Math.hypot(ar, ai) ** -exponent;
      const sb = Math.hypot(br, bi) ** -exponent;
      const w = weight(k) * mask(s, k);
      const c = k === 0 || k === n / 2 ? 1 : 2;
      re[k] += w * (ar * br + ai * bi) * sa * sb;
      im[k] += w * (ar * bi - ai * br) * sa * sb;
      ex += c * w * (ar * ar + ai * ai) * sa * sa;
      ey += c * w * (br * br + bi * bi) * sb * sb;
    }
  });
  return Float64Array.from({ length: 2 * maxLagSteps + 1 }, (_, i) => {
    const lag = (i - maxLagSteps) / upsample;
    let sum = 0;
    for (let k = 0; k <= n / 2; k++) {
      const turn = (2 * Math.PI * k * lag) / n;
      sum += (k === 0 || k === n / 2 ? 1 : 2) * (re[k] * Math.cos(turn) - (k === n / 2 ? 0 : im[k] * Math.sin(turn)));
    }
    return ex > 0 && ey > 0 ? sum / Math.sqrt(ex * ey) : 0;
  });
}
