/** Plain cross-correlation of two short signals by way of the transform. */
import { correlateRegion, createCorrelationPlan } from '../../src/kernels/correlation.js';
import { VolaryError } from '../../src/schema/errors.js';
import type { Kernels } from '../../src/kernels/kernels.js';

/**
 * r[lag] = sum over p of a[p] b[p + lag], lags -maxLagFrames .. maxLagFrames (values beyond the signals are 0), a fresh array.
 * Positive lag: b is later than a. Length of the longer signal plus maxLagFrames at most 8192. Throws `internal` beyond.
 * @example crossCorrelate(k, [1, 0, 0], [0, 1, 0], 1) // about [0, 0, 1]
 */
export function crossCorrelate(k: Kernels, a: ArrayLike<number>, b: ArrayLike<number>, maxLagFrames: number): Float32Array {
  const longest = Math.max(a.length, b.length);
  let fftSize = 8;
  while (fftSize < longest + maxLagFrames || fftSize < 2 * maxLagFrames) fftSize *= 2;
  if (fftSize > 8192 || longest === 0) {
    throw new VolaryError('internal', { what: 'signals do not fit one correlation', got: `${longest} frames and ${maxLagFrames} frames of lag`, expected: 'at most 8192 together, at least one frame' });
  }
  const before = k.mark();
  try {
    const signal = k.allocF32(2 * longest);
    const values = k.f32(signal, 2 * longest).fill(0);
    values.set(a, 0);
    values.set(b, longest);
    const plan = createCorrelationPlan(k, {
      fftSize, windowFrames: longest, hopFrames: longest, window: 'rectangle', trackCount: 2, whitening: 'none', maxLagFrames, isNormalised: false,
    });
    return correlateRegion(k, plan, { signal, trackStrideFrames: longest, trackCount: 2, frameCount: longest }, 0, longest).values.slice();
  } finally {
    k.release(before);
  }
}
