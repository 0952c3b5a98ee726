/** What the kernels do bin by bin, in plain loops of doubles. Rows [frame][width], of which the first `bins` values count. */
type Rows = ArrayLike<number>;

export function referenceSmooth(power: Rows, frames: number, bins: number, width: number, keep?: Rows): Float64Array {
  const out = new Float64Array(frames * width);
  for (let k = 0; k < frames; k++) {
    if (keep && !keep[k]) continue;
    for (let b = 0; b < bins; b++) {
      for (let i = Math.max(0, k - 1); i <= Math.min(frames - 1, k + 1); i++) for (let j = Math.max(0, b - 1); j <= Math.min(bins - 1, b + 1); j++) out[k * width + b] += power[i * width + j] / 9;
    }
  }
  return out;
}

export function referenceSumRows(power: Rows, first: number, end: number, width: number, keep?: Rows): Float64Array {
  const out = new Float64Array(width);
  for (let k = first; k < end; k++) if (!keep || keep[k]) for (let b = 0; b < width; b++) out[b] += power[k * width + b];
  return out;
}

export function referenceSumFrames(power: Rows, frames: number, width: number): Float64Array {
  return Float64Array.from({ length: frames }, (_, k) => { let s = 0; for (let b = 0; b < width; b++) s += power[k * width + b]; return s; });
}

/** Adds to `expected`; gives whether anything was added. */
export function referenceExpected(power: Rows, active: Rows, frames: number, width: number, most: Rows, least: Rows, decay: number, expected: Float64Array): boolean {
  let isAny = false;
  for (let b = 0; b < width; b++) {
    let ringing = 0;
    for (let k = 0; k < frames; k++) {
      const rest = decay * ringing, now = active[k] ? most[b] * power[k * width + b] : 0, loud = now > rest ? now : rest;
      ringing = loud > least[b] ? loud : 0;
      if (ringing > 0) isAny = true;
      expected[k * width + b] += ringing;
    }
  }
  return isAny;
}

/** Planes are re then im, each [frame][width]. */
export function referenceHush(planes: Rows, power: Rows, expected: Rows, kept: Rows, frames: number, width: number, floor: Rows): Float64Array {
  const out = new Float64Array(2 * frames * width);
  for (let k = 0, i = 0; k < frames; k++) {
    for (let b = 0; b < width; b++, i++) {
      const target = Math.max(floor[b], power[i] - expected[i]);
      if (kept[k] || !(power[i] > target)) continue;
      for (const n of [i, i + frames * width]) out[n] = (Math.sqrt(target / power[i]) - 1) * planes[n];
    }
  }
  return out;
}

/** [own / (ratio other)] of the bins that are clear of both floors. */
export function referenceRatios(own: Rows, other: Rows, frames: number, bins: number, width: number, ratio: Rows, floor: Rows, otherFloor: Rows): number[] {
  const out: number[] = [];
  for (let k = 0; k < frames; k++) for (let b = 0; b < bins; b++) {
    const i = k * width + b, expected = ratio[b] * other[i];
    if (expected > 3 * floor[b] && other[i] > 10 * otherFloor[b] && !Number.isNaN(own[i])) out.push(own[i] / expected);
  }
  return out;
}

export interface VoiceRows { mean: Float64Array; variance: Float64Array }

/** Posterior mean and variance of what has `power` in `noise`, both by index of a row's value. */
export function referenceVoice(x: Rows, frames: number, width: number, power: (i: number) => number, noise: (i: number) => number): VoiceRows {
  const mean = new Float64Array(2 * frames * width), variance = new Float64Array(frames * width);
  for (let i = 0; i < frames * width; i++) {
    const gain = power(i) / (power(i) + noise(i));
    mean[i] = gain * x[i]; mean[i + frames * width] = gain * x[i + frames * width]; variance[i] = gain * noise(i);
  }
  return { mean, variance };
}

/** Powers of spectra [spectrum][bin][re x 4][im x 4] as [spectrum][column][4], infinite in lanes without a finite positive sum; and how many are usable. */
export function referencePowerRows(spectra: Rows, count: number, bins: number, columns: number): { rows: Float64Array; usable: number[] } {
  const rows = new Float64Array(count * columns * 4), usable = [0, 0, 0, 0];
  for (let s = 0; s < count; s++) {
    for (let c = 0; c < 4; c++) {
      let sum = 0;
      for (let b = 0; b < bins; b++) { const i = (s * bins + b) * 8 + c, p = spectra[i] ** 2 + spectra[i + 4] ** 2; rows[(s * columns + b) * 4 + c] = p; sum += p; }
      if (sum > 0 && sum < 3.4e38) usable[c]++;
      else for (let b = 0; b < columns; b++) rows[(s * columns + b) * 4 + c] = Infinity;
    }
  }
  return { rows, usable };
}

/** Planes turned by `turns[frame]` full circles per bin. */
export function referenceTurn(planes: Rows, frames: number, width: number, turns: Rows): Float64Array {
  const out = new Float64Array(2 * frames * width);
  for (let k = 0, i = 0; k < frames; k++) for (let b = 0; b < width; b++, i++) {
    const n = i + frames * width, c = Math.cos(2 * Math.PI * turns[k] * b), s = Math.sin(2 * Math.PI * turns[k] * b);
    out[i] = planes[i] * c - planes[n] * s; out[n] = planes[i] * s + planes[n] * c;
  }
  return out;
}
