/** Plain references of the shape of a set of bins (frame * binCount + bin) of one track. */
export function referenceSetShape(power: ArrayLike<number>, binCount: number, floor: ArrayLike<number>, set: ArrayLike<number>, startFrame: number, endFrame: number): { spectrum: Float64Array; inTime: Float64Array } {
  const spectrum = new Float64Array(binCount);
  const inTime = new Float64Array(endFrame - startFrame);
  for (const k of Array.from(set)) {
    const bin = k % binCount;
    const e = Math.max(0, power[k] - floor[bin]);
    spectrum[bin] += e;
    inTime[Math.floor(k / binCount) - startFrame] += e;
  }
  return { spectrum, inTime };
}

/** Largest correlation, at least 0, of the roots of a spectrum in bins [first, end) with themselves under a shift of firstShift .. lastShift. */
export function referenceShifted(spectrum: ArrayLike<number>, first: number, end: number, firstShift: number, lastShift: number): number {
  const a = Array.from({ length: end - first }, (_, n) => Math.sqrt(spectrum[first + n]));
  const mean = a.reduce((s, v) => s + v, 0) / a.length;
  const centred = a.map((v) => v - mean);
  const square = centred.reduce((s, v) => s + v * v, 0);
  let best = 0;
  for (let d = firstShift; d <= lastShift; d++) best = Math.max(best, centred.reduce((s, v, b) => (b >= d ? s + v * centred[b - d] : s), 0));
  return square > 0 ? best / square : 0;
}
