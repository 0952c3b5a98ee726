import { cosTurn, exp, ln } from '../../numeric/elementary.js';

/** Bumps of time since a call, tabulated: narrow at short lags, wide at long ones. */
export interface LagKernels {
  count: number;
  stepSec: number;
  reachSec: number;
  /** values[k * steps + m] = kernel k at (m + 1/2) stepSec. */
  values: Float64Array;
  steps: number;
}

/**
 * Raised cosines on a logarithmic axis (Pillow et al. 2008, Nature 454:995-999, methods): with x = ln(lag + bend), kernel k is
 * (1 + cos(a (x - x_k))) / 2 within half a turn of its peak, peaks a quarter turn apart. Between the second and the last but one peak they sum to 2.
 * @param firstSec lag of the first peak. @param lastSec lag of the last peak. @param bendSec lags well above this are spaced logarithmically.
 * @param reachSec lag at which all are cut off.
 */
export function buildLagKernels(count: number, firstSec: number, lastSec: number, reachSec: number, bendSec: number, stepSec = 0.001): LagKernels {
  const steps = Math.round(reachSec / stepSec);
  const values = new Float64Array(count * steps);
  const low = ln(firstSec + bendSec);
  const spacing = (ln(lastSec + bendSec) - low) / (count - 1);
  for (let m = 0; m < steps; m++) {
    const x = ln((m + 0.5) * stepSec + bendSec);
    for (let k = 0; k < count; k++) {
      const quarterTurns = (x - low - k * spacing) / spacing;
      if (Math.abs(quarterTurns) < 2) values[k * steps + m] = 0.5 + 0.5 * cosTurn(quarterTurns / 4);
    }
  }
  return { count, stepSec, reachSec, values, steps };
}

/**
 * How many times its usual rate a bird calls, on average over lags [fromSec, toSec) after a call, by kernel weights `w`: the mean of
 * exp(sum of w_k kernel_k), its logarithm, and the gradient of the logarithm.
 */
export function measureGain(kernels: LagKernels, w: ArrayLike<number>, fromSec: number, toSec: number): { logGain: number; gradient: Float64Array } {
  const gradient = new Float64Array(kernels.count);
  const first = Math.max(0, Math.round(fromSec / kernels.stepSec));
  const end = Math.min(kernels.steps, Math.max(first + 1, Math.round(toSec / kernels.stepSec)));
  let sum = 0;
  for (let m = first; m < end; m++) {
    let h = 0;
    for (let k = 0; k < kernels.count; k++) h += w[k] * kernels.values[k * kernels.steps + m];
    const gain = exp(h);
    sum += gain;
    for (let k = 0; k < kernels.count; k++) gradient[k] += gain * kernels.values[k * kernels.steps + m];
  }
  for (let k = 0; k < kernels.count; k++) gradient[k] /= sum;
  return { logGain: ln(sum / (end - first)), gradient };
}
