/** Plain references of the envelope of a track in energies [step][lane], and of where it ends without what the other lanes share. */
export interface Steps { energy: ArrayLike<number>; laneCount: number; stepCount: number; width: number; perFrame: number }

/** Energy of a lane over the steps around one, 0 outside. */
export function referenceAround(s: Steps, lane: number, step: number): number {
  let sum = 0;
  for (let k = step - (s.width >> 1); k < step - (s.width >> 1) + s.width; k++) if (k >= 0 && k < s.stepCount) sum += s.energy[k * s.laneCount + lane];
  return sum;
}

export function referenceEnvelope(s: Steps, lane: number, first: number, count: number): number[] {
  return Array.from({ length: count }, (_, k) => Math.max(0, referenceAround(s, lane, first + k)) * s.perFrame);
}

/** @param noise by lane, NaN where a lane is no other */
export function referenceDryOffset(
  s: Steps, own: ArrayLike<number>, first: number, from: number, high: number, hold: number, roomShare: number, noise: readonly number[], scale: readonly number[],
): number {
  const lanes = noise.flatMap((v, j) => (Number.isNaN(v) ? [] : [j]));
  const dry = (k: number): number => {
    if (lanes.length === 0) return own[k];
    const levels = lanes.map((j) => Math.max(0, referenceAround(s, j, first + k) * s.perFrame - noise[j]) * scale[j]).sort((a, b) => a - b);
    return own[k] - roomShare * levels[levels.length >> 1];
  };
  let last = from - first;
  for (let k = last; k < own.length; k++) {
    if (own[k] >= high && dry(k) >= high) last = k;
    else if (k - last > hold) break;
  }
  if (last + 1 >= own.length) return first + last;
  const inside = dry(last), outside = dry(last + 1);
  return first + last + (inside > high && outside < high ? (inside - high) / (inside - outside) : 0);
}
