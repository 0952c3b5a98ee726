/** Plain references of how the parts of a set of bins (frame * binCount + bin) compare. Spectra as [frame][bin][re, im] of one track. */
export function referenceHeld(spectra: ArrayLike<number>, binCount: number, set: ArrayLike<number>, startFrame: number, lag: number): number {
  let held = 0;
  let all = 0;
  for (let b = 0; b < binCount; b++) {
    let re = 0;
    let im = 0;
    for (const k of Array.from(set)) {
      const frame = Math.floor(k / binCount);
      if (k % binCount !== b || frame - lag < startFrame) continue;
      const x = 2 * k;
      const y = 2 * (k - lag * binCount);
      const turn = [spectra[x] * spectra[y] + spectra[x + 1] * spectra[y + 1], spectra[x + 1] * spectra[y] - spectra[x] * spectra[y + 1]];
      re += turn[0];
      im += turn[1];
      all += Math.hypot(turn[0], turn[1]);
    }
    held += Math.hypot(re, im);
  }
  return all > 0 ? held / all : 0;
}

export interface ReferenceFrames { before: number; start: number; split: number; end: number; half: number }

/** [start, rest, before, likeness of start and rest, likeness of before and all, late, early], as the kernel gives them. */
export function referenceParts(
  power: ArrayLike<number>, binCount: number, floor: ArrayLike<number>, set: ArrayLike<number>, frames: ReferenceFrames, firstBin: number, endBin: number,
): number[] {
  const over = (k: number): number => Math.max(0, power[k] - floor[k % binCount]);
  const spectrum = (bins: number[]): number[] => Array.from({ length: binCount }, (_, b) => bins.filter((k) => k % binCount === b).reduce((s, k) => s + over(k), 0));
  const sum = (v: number[]): number => v.reduce((s, x) => s + x, 0);
  const like = (a: number[], b: number[]): number => (sum(a) > 0 && sum(b) > 0 ? sum(a.map((v, k) => Math.sqrt(v * b[k]))) / Math.sqrt(sum(a) * sum(b)) : 0);
  const all = Array.from(set);
  const frameOf = (k: number): number => Math.floor(k / binCount);
  const start = spectrum(all.filter((k) => frameOf(k) < frames.split)), rest = spectrum(all.filter((k) => frameOf(k) >= frames.split));
  const earlier: number[] = [];
  for (let t = frames.before; t < frames.start; t++) for (let b = firstBin; b < endBin; b++) earlier.push(t * binCount + b);
  const before = spectrum(earlier);
  return [
    sum(start), sum(rest), sum(before), like(start, rest), like(before, spectrum(all)),
    sum(all.filter((k) => frameOf(k) >= frames.start + frames.half).map(over)), sum(all.filter((k) => frameOf(k) < frames.end - frames.half).map(over)),
  ];
}
