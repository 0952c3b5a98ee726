import { cosTurn, log2, sinTurn } from '../numeric/elementary.js';

/** In-place complex transform of a power-of-two length, double precision. For short correlations; long work goes through the kernels. */
export class SmallFft {
  readonly size: number;
  private readonly cosine: Float64Array;
  private readonly sine: Float64Array;
  private readonly reversed: Uint32Array;

  constructor(size: number) {
    this.size = size;
    this.cosine = new Float64Array(size / 2);
    this.sine = new Float64Array(size / 2);
    this.reversed = new Uint32Array(size);
    for (let k = 0; k < size / 2; k++) {
      this.cosine[k] = cosTurn(k / size);
      this.sine[k] = sinTurn(k / size);
    }
    const bits = Math.round(log2(size));
    for (let k = 0; k < size; k++) {
      let r = 0;
      for (let b = 0; b < bits; b++) if ((k >> b) & 1) r |= 1 << (bits - 1 - b);
      this.reversed[k] = r;
    }
  }

  /** Unscaled inverse transform: x[n] = sum_k X[k] exp(+2 pi i k n / size). */
  inverse(re: Float64Array, im: Float64Array): void {
    const { size, reversed, cosine, sine } = this;
    for (let k = 0; k < size; k++) {
      const r = reversed[k];
      if (r > k) {
        const a = re[k]; re[k] = re[r]; re[r] = a;
        const b = im[k]; im[k] = im[r]; im[r] = b;
      }
    }
    for (let half = 1; half < size; half <<= 1) {
      const step = size / (2 * half);
      for (let i = 0; i < size; i += 2 * half) {
        for (let k = 0; k < half; k++) {
          const c = cosine[k * step];
          const s = sine[k * step];
          const a = i + k;
          const b = a + half;
          const xr = re[b] * c - im[b] * s;
          const xi = re[b] * s + im[b] * c;
          re[b] = re[a] - xr; im[b] = im[a] - xi;
          re[a] += xr; im[a] += xi;
        }
      }
    }
  }
}
