/**
 * Where a call begins and ends: the first and the last moment at which the power of the clean call, smoothed by a Hann
 * window of LABEL_SMOOTH_SEC, lies less than LABEL_EDGE_DB below its peak. A definition of this project; it follows how
 * people mark calls on an oscillogram of a clean recording, where the last 20 dB sink into the room.
 */
export const LABEL_EDGE_DB = 20;
export const LABEL_SMOOTH_SEC = 0.01;

/** Start and end (half-open) in frames; both may lie outside the array by less than the smoothing window. */
export function findLabelEdges(samples: Float64Array, sampleRateHz: number): { startFrame: number; endFrame: number } {
  const half = Math.max(1, Math.round((LABEL_SMOOTH_SEC * sampleRateHz) / 2));
  // A Hann window is a constant minus a cosine: both running sums are exact and cost a few operations per sample.
  const step = Math.PI / half, c = Math.cos(step), s = Math.sin(step);
  const n = samples.length, width = 2 * half;
  const envelope = new Float64Array(n + width);
  let sum = 0, re = 0, im = 0;
  // re + i im = sum over the window of x^2 exp(i step (age)), age counted from the newest sample.
  const endTurn = { c: Math.cos(step * width), s: Math.sin(step * width) };
  for (let i = 0; i < n + width; i++) {
    const add = i < n ? samples[i] * samples[i] : 0;
    const drop = i >= width ? samples[i - width] * samples[i - width] : 0;
    const r = re * c - im * s, m = re * s + im * c;
    re = r + add - drop * endTurn.c;
    im = m - drop * endTurn.s;
    sum += add - drop;
    envelope[i] = sum - re;
  }
  let peak = 0;
  for (const e of envelope) if (e > peak) peak = e;
  const edge = peak * Math.pow(10, -LABEL_EDGE_DB / 10);
  let first = 0, last = envelope.length - 1;
  while (first < last && envelope[first] < edge) first++;
  while (last > first && envelope[last] < edge) last--;
  return { startFrame: first - half, endFrame: last - half + 1 };
}
