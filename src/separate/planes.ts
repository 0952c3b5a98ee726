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
    const o = t * binCount;
    for (let b = 0; b < binCount; b++) {
      let sum = power[o + b];
      if (t > 0) sum += power[o + b - binCount];
      if (t + 1 < frameCount) sum += power[o + b + binCount];
      row[b] = sum / 9;
    }
    for (let b = 0; b < binCount; b++) out[o + b] = row[b] + (b > 0 ? row[b - 1] : 0) + (b + 1 < binCount ? row[b + 1] : 0);
  }
  return out;
}

/** Smoothed |X|^2. */
export function smoothPower(x: Planes): Float32Array {
  return smoothBins(measurePower(x), x.frameCount, x.binCount);
}
