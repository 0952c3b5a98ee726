/** Plain references in f64: lags and levels over a set of time-frequency bins from spectra[track][frame], interleaved re, im. */

type Spectra = ArrayLike<number>[][];

/** r[m + maxSteps] = sum over the set of w Re(conj(u) x / |x| exp(i 2 pi bin m / size)), w = 1 - noise / |x|^2 where positive; sums of w, w^2. */
export function referenceSetCorrelation(
  spectra: Spectra, own: number, other: number, noise: ArrayLike<number>, set: ArrayLike<number>, binCount: number, size: number, maxSteps: number,
): { r: Float64Array; weightSum: number; squareSum: number } {
  const r = new Float64Array(2 * maxSteps + 1);
  let weightSum = 0;
  let squareSum = 0;
  for (let n = 0; n < set.length; n++) {
    const bin = set[n] % binCount;
    const frame = Math.floor(set[n] / binCount);
    const [a, b] = [spectra[own][frame], spectra[other][frame]];
    const [ar, ai, br, bi] = [a[2 * bin], a[2 * bin + 1], b[2 * bin], b[2 * bin + 1]];
    const size2 = br * br + bi * bi;
    const w = 1 - noise[bin] / size2;
    const product = Math.hypot(ar, ai) * Math.hypot(br, bi);
    if (!(w > 0 && product > 0 && Number.isFinite(product))) continue;
    weightSum += w;
    squareSum += w * w;
    for (let m = -maxSteps; m <= maxSteps; m++) {
      const turn = (2 * Math.PI * ((bin * m) % size)) / size;
      r[m + maxSteps] += (w * ((ar * br + ai * bi) * Math.cos(turn) - (ar * bi - ai * br) * Math.sin(turn))) / product;
    }
  }
  return { r, weightSum, squareSum };
}

/** Power over noise below and from a bin on, and the noise. */
export function referenceSetLevels(
  spectra: ArrayLike<number>[], noise: ArrayLike<number>, scale: number, set: ArrayLike<number>, binCount: number, splitBin: number,
): { low: number; high: number; noise: number } {
  const sums = { low: 0, high: 0, noise: 0 };
  for (let n = 0; n < set.length; n++) {
    const bin = set[n] % binCount;
    const x = spectra[Math.floor(set[n] / binCount)];
    sums[bin < splitBin ? 'low' : 'high'] += scale * (x[2 * bin] ** 2 + x[2 * bin + 1] ** 2 - noise[bin]);
    sums.noise += scale * noise[bin];
  }
  return sums;
}
