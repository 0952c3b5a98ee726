/** Plain references in f64: cascade of second-order sections (direct form I) and energy per hop. */

/** sos: rows b0 b1 b2 a1 a2. */
export function referenceFilter(x: ArrayLike<number>, sos: ArrayLike<number>): Float64Array {
  let input = Float64Array.from(x);
  for (let s = 0; s < sos.length; s += 5) {
    const y = new Float64Array(input.length);
    for (let i = 0; i < input.length; i++) {
      y[i] = sos[s] * input[i];
      if (i > 0) y[i] += sos[s + 1] * input[i - 1] - sos[s + 3] * y[i - 1];
      if (i > 1) y[i] += sos[s + 2] * input[i - 2] - sos[s + 4] * y[i - 2];
    }
    input = y;
  }
  return input;
}

/** Mean square per hop; the last hop may be shorter. */
export function referenceHopEnergy(y: ArrayLike<number>, hop: number): Float64Array {
  const out = new Float64Array(Math.ceil(y.length / hop));
  for (let h = 0; h < out.length; h++) {
    const end = Math.min(y.length, (h + 1) * hop);
    for (let i = h * hop; i < end; i++) out[h] += (y[i] * y[i]) / (end - h * hop);
  }
  return out;
}

/** One-pole average of the square, taken at the end of every hop. */
export function referenceSmoothEnergy(y: ArrayLike<number>, hop: number, alpha: number): Float64Array {
  const out = new Float64Array(Math.ceil(y.length / hop));
  let e = 0;
  for (let i = 0; i < y.length; i++) {
    e += alpha * (y[i] * y[i] - e);
    out[Math.floor(i / hop)] = e;
  }
  return out;
}
