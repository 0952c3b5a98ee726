/** Plain references in f64 from spectra (interleaved re, im per bin): coherence, level ratio, spectral distance of one pair. */

type Spectra = ArrayLike<number>[];

const powerAt = (s: Spectra, k: number): number => s.reduce((sum, v) => sum + v[2 * k] ** 2 + v[2 * k + 1] ** 2, 0);

/** Mean over bins of |sum conj(x) y|^2 / (sum |x|^2 sum |y|^2). */
export function referenceCoherence(x: Spectra, y: Spectra, firstBin: number, endBin: number): number {
  let sum = 0;
  let count = 0;
  for (let k = firstBin; k < endBin; k++) {
    let re = 0;
    let im = 0;
    x.forEach((a, s) => {
      re += a[2 * k] * y[s][2 * k] + a[2 * k + 1] * y[s][2 * k + 1];
      im += a[2 * k] * y[s][2 * k + 1] - a[2 * k + 1] * y[s][2 * k];
    });
    const power = powerAt(x, k) * powerAt(y, k);
    if (power <= 0) continue;
    sum += (re * re + im * im) / power;
    count++;
  }
  return count ? sum / count : 0;
}

/** Noise-subtracted power per bin of the band; noise per spectrum and bin. */
export function referenceBandPower(x: Spectra, firstBin: number, endBin: number, noise: ArrayLike<number>): number[] {
  return Array.from({ length: endBin - firstBin }, (_, i) => Math.max(0, powerAt(x, firstBin + i) - x.length * noise[firstBin + i]));
}

export function referenceLevelDb(p: number[], q: number[]): number {
  const sum = (v: number[]): number => Math.max(1e-30, v.reduce((a, b) => a + b, 0));
  return Math.min(120, Math.max(-120, 10 * Math.log10(sum(p) / sum(q))));
}

export function referenceDistanceDb(p: number[], q: number[]): number {
  const shape = (v: number[]): number[] => {
    const sum = v.reduce((a, b) => a + b, 0);
    return v.map((s) => 10 * Math.log10((sum > 0 ? s / sum : 0) + 1e-4 / v.length));
  };
  const a = shape(p);
  const b = shape(q);
  return a.reduce((sum, v, i) => sum + Math.abs(v - b[i]), 0) / a.length;
}
