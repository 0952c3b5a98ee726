import type { FullRecorder } from './scene.js';
import type { Random } from './random.js';

/**
 * Clock of one recorder: file time = reference time + offset(reference time), with
 * offset(t) = offset0 + 1e-6 (drift t + integral of the wander), the wander being two slow sines (temperature).
 */
export class RecorderClock {
  private readonly terms: { ppm: number; omega: number; phase: number }[];

  constructor(private readonly recorder: FullRecorder, random: Random) {
    const base = (2 * Math.PI) / recorder.wanderSec;
    this.terms = recorder.wanderPpm === 0 ? [] : [
      { ppm: 0.8 * recorder.wanderPpm, omega: base, phase: random.range(0, 2 * Math.PI) },
      { ppm: 0.4 * recorder.wanderPpm, omega: base * random.range(1.7, 3.1), phase: random.range(0, 2 * Math.PI) },
    ];
  }

  get isReference(): boolean { return this.recorder.offsetSec === 0 && this.recorder.driftPpm === 0 && this.terms.length === 0; }

  get name(): string { return this.recorder.name; }

  /** Rate error at a reference time, in parts per million. */
  ratePpm(refSec: number): number {
    let ppm = this.recorder.driftPpm;
    for (const t of this.terms) ppm += t.ppm * Math.sin(t.omega * refSec + t.phase);
    return ppm;
  }

  /** File time minus reference time. */
  offsetSec(refSec: number): number {
    let integral = this.recorder.driftPpm * refSec;
    for (const t of this.terms) integral += (t.ppm * (Math.cos(t.phase) - Math.cos(t.omega * refSec + t.phase))) / t.omega;
    return this.recorder.offsetSec + 1e-6 * integral;
  }

  /** Reference time at which the recorder writes the sample of a file time. */
  toReferenceSec(fileSec: number): number {
    let ref = fileSec - this.offsetSec(fileSec);
    for (let i = 0; i < 4; i++) ref = fileSec - this.offsetSec(ref);
    return ref;
  }
}

const HALF_TAPS = 16;
const PHASES = 512;
let sincTable: Float64Array | undefined;

/** Hann-windowed sinc of 32 taps at 512 phases; linear interpolation between phases keeps the error near -100 dB below 0.8 Nyquist. */
function getSincTable(): Float64Array {
  if (sincTable) return sincTable;
  const width = 2 * HALF_TAPS, table = new Float64Array((PHASES + 1) * width);
  for (let p = 0; p <= PHASES; p++) for (let k = 0; k < width; k++) {
    const d = k - (HALF_TAPS - 1) - p / PHASES, x = d / HALF_TAPS;
    const window = Math.abs(x) >= 1 ? 0 : 0.5 + 0.5 * Math.cos(Math.PI * x);
    table[p * width + k] = window * (Math.abs(d) < 1e-12 ? 1 : Math.sin(Math.PI * d) / (Math.PI * d));
  }
  return (sincTable = table);
}

/**
 * Reads a track as the recorder's clock does: out[n] = input(toReference(n / fs)), every sample at its own moment.
 * @param inputStartSec reference time of input[0]
 */
export function recordThroughClock(input: Float32Array, inputStartSec: number, clock: RecorderClock, sampleRateHz: number, frames: number): Float32Array {
  const out = new Float32Array(frames), table = getSincTable(), width = 2 * HALF_TAPS;
  const block = 256;
  for (let start = 0; start < frames; start += block) {
    const p0 = (clock.toReferenceSec(start / sampleRateHz) - inputStartSec) * sampleRateHz;
    const p1 = (clock.toReferenceSec((start + block) / sampleRateHz) - inputStartSec) * sampleRateHz;
    for (let i = 0; i < block && start + i < frames; i++) {
      const at = p0 + ((p1 - p0) * i) / block, whole = Math.floor(at), fine = (at - whole) * PHASES;
      const phase = Math.floor(fine), frac = fine - phase, row = phase * width, first = whole - HALF_TAPS + 1;
      let a = 0, b = 0;
      if (first >= 0 && first + width <= input.length) {
        for (let k = 0; k < width; k++) { const v = input[first + k]; a += v * table[row + k]; b += v * table[row + width + k]; }
      } else {
        for (let k = 0; k < width; k++) { const v = input[first + k] ?? 0; a += v * table[row + k]; b += v * table[row + width + k]; }
      }
      out[start + i] = a + frac * (b - a);
    }
  }
  return out;
}
