/**
 * Complex fast Fourier transform in float64, radix 2, power-of-two sizes. Scaling: forward none, inverse 1/N.
 * Sign: X[k] = sum x[n] exp(-2 pi i k n / N). `forwardScrambled` and `inverseScrambled` leave the spectrum in bit-reversed
 * order: enough for convolution, which multiplies bin by bin, and saves both permutations.
 */
export class Fft {
  private readonly cosTable: Float64Array;
  private readonly sinTable: Float64Array;

  constructor(readonly size: number) {
    if (size < 2 || (size & (size - 1)) !== 0) throw new RangeError(`transform size ${size} is not a power of two`);
    this.cosTable = new Float64Array(size / 2);
    this.sinTable = new Float64Array(size / 2);
    for (let k = 0; k < size / 2; k++) {
      this.cosTable[k] = Math.cos((2 * Math.PI * k) / size);
      this.sinTable[k] = Math.sin((2 * Math.PI * k) / size);
    }
  }

  /** Decimation in frequency, in place; output in bit-reversed order. */
  forwardScrambled(re: Float64Array, im: Float64Array): void {
    const { size, cosTable, sinTable } = this;
    for (let half = size >> 1, step = 1; half >= 1; half >>= 1, step <<= 1) {
      for (let start = 0; start < size; start += half << 1) {
        for (let i = start, k = 0; i < start + half; i++, k += step) {
          const j = i + half;
          const ar = re[i], ai = im[i], br = re[j], bi = im[j];
          re[i] = ar + br; im[i] = ai + bi;
          const dr = ar - br, di = ai - bi, c = cosTable[k], s = sinTable[k];
          re[j] = dr * c + di * s; im[j] = di * c - dr * s;
        }
      }
    }
  }

  /** Decimation in time, in place; input in bit-reversed order, output natural, scaled by 1/N. */
  inverseScrambled(re: Float64Array, im: Float64Array): void {
    const { size, cosTable, sinTable } = this;
    for (let half = 1, step = size >> 1; half < size; half <<= 1, step >>= 1) {
      for (let start = 0; start < size; start += half << 1) {
        for (let i = start, k = 0; i < start + half; i++, k += step) {
          const j = i + half;
          const c = cosTable[k], s = sinTable[k], xr = re[j], xi = im[j];
          const br = xr * c - xi * s, bi = xi * c + xr * s;
          re[j] = re[i] - br; im[j] = im[i] - bi;
          re[i] += br; im[i] += bi;
        }
      }
    }
    const scale = 1 / size;
    for (let i = 0; i < size; i++) { re[i] *= scale; im[i] *= scale; }
  }

  forward(re: Float64Array, im: Float64Array): void { this.forwardScrambled(re, im); this.permute(re, im); }

  inverse(re: Float64Array, im: Float64Array): void { this.permute(re, im); this.inverseScrambled(re, im); }

  private permute(re: Float64Array, im: Float64Array): void {
    const n = this.size;
    for (let i = 0, j = 0; i < n; i++) {
      if (i < j) { let t = re[i]; re[i] = re[j]; re[j] = t; t = im[i]; im[i] = im[j]; im[j] = t; }
      let m = n >> 1;
      while (m >= 1 && (j & m) !== 0) { j ^= m; m >>= 1; }
      j |= m;
    }
  }
}

const plans = new Map<number, Fft>();

/** The transform of a size, made once. */
export function getFft(size: number): Fft {
  let plan = plans.get(size);
  if (!plan) { plan = new Fft(size); plans.set(size, plan); }
  return plan;
}

export function nextPowerOfTwo(n: number): number {
  let p = 1;
  while (p < n) p *= 2;
  return p;
}
