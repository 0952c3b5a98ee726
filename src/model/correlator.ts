import { SmallFft } from '../evidence/small-fft.js';
import { log2 } from '../numeric/elementary.js';

/** Plain cross-correlation of long real series through a double-precision transform. */
export class Correlator {
  private readonly fft: SmallFft;
  constructor(leastLength: number) {
    this.fft = new SmallFft(2 ** Math.ceil(log2(Math.max(2, leastLength))));
  }

  /**
   * r[k] = sum_n a[n] b[n + k] for k = 0 .. count-1. Half whitened, the cross spectrum is divided by the root of its magnitude: halfway to the phase
   * transform (Knapp and Carter 1976, IEEE Transactions on Acoustics, Speech and Signal Processing 24(4)), so that slow swings do not drown a sharp peak.
   */
  correlate(a: ArrayLike<number>, b: ArrayLike<number>, count: number, isHalfWhite = false): Float64Array {
    const { size } = this.fft;
    // Both real series share one transform: z = a + i b.
    const re = new Float64Array(size);
    const im = new Float64Array(size);
    re.set(a);
    im.set(b);
    this.fft.inverse(re, im);
    const xr = new Float64Array(size);
    const xi = new Float64Array(size);
    for (let k = 0; k < size; k++) {
      const m = (size - k) % size;
      const ar = (re[k] + re[m]) / 2;
      const ai = (im[k] - im[m]) / 2;
      const br = (im[k] + im[m]) / 2;
      const bi = (re[m] - re[k]) / 2;
      // The transforms used e^{+i}, so conj(A) B at e^{+i} is A conj(B) at e^{-i}: take the latter for the inverse.
      xr[k] = ar * br + ai * bi;
      xi[k] = ai * br - ar * bi;
    }
    if (isHalfWhite) whitenHalf(xr, xi);
    this.fft.inverse(xr, xi);
    const out = new Float64Array(count);
    for (let k = 0; k < count; k++) out[k] = xr[k] / size;
    return out;
  }
}

function whitenHalf(re: Float64Array, im: Float64Array): void {
  for (let k = 0; k < re.length; k++) {
    const root = Math.sqrt(Math.sqrt(re[k] * re[k] + im[k] * im[k]));
    if (root > 0) { re[k] /= root; im[k] /= root; }
  }
}
