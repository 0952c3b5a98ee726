/** Complex spectra of one track, [frame][bin]. */
export interface Planes { re: Float32Array; im: Float32Array; frameCount: number; binCount: number }

export function createPlanes(frameCount: number, binCount: number): Planes {
  return { re: new Float32Array(frameCount * binCount), im: new Float32Array(frameCount * binCount), frameCount, binCount };
}

/** |X|^2 of every bin. */
export function measurePower(x: Planes, out = new Float32Array(x.re.length)): Float32Array {
  for (let k = 0; k < out.length; k++) out[k] = x.re[k] * x.re[k] + x.im[k] * x.im[k];
  return out;
}

/** Mean over 3 frames and 3 bins; what lies beyond the edges counts as 0. */
export function smoothBins(power: Float32Array, frameCount: number, binCount: number, out = new Float32Array(power.length)): Float32Array {
  const row = new Float32Array(binCount);
  for (let t = 0; t < frameCount; t++) {
    const o = t * binCount, end = o + binCount - 1;
    if (t > 0 && t + 1 < frameCount) for (let b = 0, i = o; b < binCount; b++, i++) row[b] = (power[i] + power[i - binCount] + power[i + binCount]) / 9;
    else for (let b = 0, i = o; b < binCount; b++, i++) row[b] = (power[i] + (t > 0 ? power[i - binCount] : 0) + (t + 1 < frameCount ? power[i + binCount] : 0)) / 9;
    let before = 0, here = row[0];
    for (let b = 1, i = o; i < end; b++, i++) { const next = row[b]; out[i] = here + before + next; before = here; here = next; }
    out[end] = here + before;
  }
  return out;
}

/** Smoothed |X|^2. */
export function smoothPower(x: Planes): Float32Array {
  return smoothBins(measurePower(x), x.frameCount, x.binCount);
}
