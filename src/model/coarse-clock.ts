import { VolaryError } from '../schema/errors.js';
import type { RecorderClock } from './clock.js';
import { Correlator } from './correlator.js';

/** Loudness over time of one recorder: one value per step, from its own file time zero. */
export interface ActivityTrace {
  stepSec: number;
  values: Float32Array;
}

const WINDOW_SEC = 120;
const LATER_SPAN_SEC = 2;

/**
 * First estimate of a recorder's offset against the reference from when there is sound at all: normalised cross-correlation of the
 * activity of both, over the whole allowed range for the first windows that agree, near the last value afterwards. Good to the distances in
 * the room (a few milliseconds); the lags of single calls refine it.
 * @throws VolaryError 'no-data' when no window agrees (the recorders do not hear the same sounds)
 */
export function findCoarseClock(reference: ActivityTrace, other: ActivityTrace, maxOffsetSec: number, name: string): RecorderClock {
  const { stepSec } = reference;
  const first = findFirst(reference, other, maxOffsetSec);
  if (!first) {
    throw new VolaryError('no-data', {
      what: 'no common sound found between this recorder and the reference', where: `recorder ${name}`,
      expected: `an offset within ${maxOffsetSec} s`, mend: 'check that both recorders ran in the same room, or raise --max-offset',
    });
  }
  const knotSec: number[] = [];
  const offsetSec: number[] = [];
  let last = first.offsetSec;
  const step = Math.round(WINDOW_SEC / 2 / stepSec);
  const width = Math.round(WINDOW_SEC / stepSec);
  for (let from = 0; from === 0 || from + width / 2 < reference.values.length; from += step) {
    const found = correlateWindow(reference, other, from, width, last, LATER_SPAN_SEC);
    if (!found || found.strength < 5) continue;
    last = found.offsetSec;
    knotSec.push((from + Math.min(width, reference.values.length - from) / 2) * stepSec);
    offsetSec.push(last);
  }
  if (knotSec.length === 0) { knotSec.push(0); offsetSec.push(first.offsetSec); }
  return { knotSec, offsetSec, uncertaintySec: knotSec.map(() => 0.003) };
}

interface Found { offsetSec: number; strength: number }

function findFirst(reference: ActivityTrace, other: ActivityTrace, maxOffsetSec: number): Found | null {
  const width = Math.round(600 / reference.stepSec);
  for (let from = 0; from === 0 || from + width / 4 < reference.values.length; from += width) {
    const found = correlateWindow(reference, other, from, width, 0, maxOffsetSec);
    if (found && found.strength > 7) return found;
  }
  return null;
}

/** Correlates reference steps [from, from + width) with the other recorder, offsets within centre +- span. */
function correlateWindow(reference: ActivityTrace, other: ActivityTrace, from: number, width: number, centreSec: number, spanSec: number): Found | null {
  const { stepSec } = reference;
  const a = reference.values.subarray(from, Math.min(reference.values.length, from + width));
  const span = Math.round(spanSec / stepSec);
  const centre = Math.round(centreSec / stepSec);
  const b = new Float32Array(a.length + 2 * span);
  const start = from + centre - span;
  for (let k = 0; k < b.length; k++) b[k] = other.values[start + k] ?? 0;
  if (a.length < 64) return null;
  const r = new Correlator(a.length + b.length).correlate(removeMean(a), removeMean(b), 2 * span + 1);
  let best = 0;
  for (let k = 1; k < r.length; k++) if (r[k] > r[best]) best = k;
  const mean = r.reduce((s, v) => s + v, 0) / r.length;
  const sd = Math.sqrt(r.reduce((s, v) => s + (v - mean) ** 2, 0) / r.length);
  if (!(sd > 0)) return null;
  const curve = (r[best - 1] ?? r[best]) - 2 * r[best] + (r[best + 1] ?? r[best]);
  const shift = curve < 0 && best > 0 && best < r.length - 1 ? (0.5 * (r[best - 1] - r[best + 1])) / curve : 0;
  return { offsetSec: (centre - span + best + shift) * stepSec, strength: (r[best] - mean) / sd };
}

function removeMean(x: Float32Array): Float64Array {
  let s = 0;
  for (const v of x) s += v;
  const mean = s / Math.max(1, x.length);
  return Float64Array.from(x, (v) => v - mean);
}
