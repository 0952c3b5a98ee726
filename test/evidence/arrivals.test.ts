/** Lags of whole calls over a wide reach, from calls that are made here: a melody, one steady tone, noise. */
import { describe, expect, it } from 'vitest';
import { ArrivalMeter } from '../../src/evidence/arrivals.js';
import { makeRandom } from '../model/clock-synthetic.js';

const FS = 44100;
const meter = new ArrivalMeter(FS, [400, 11000], 0.02);

/** A stack of harmonics whose base sweeps from one frequency to another. */
function makeCall(fromHz: number, toHz: number, sec: number): (tSec: number) => number {
  return (t) => {
    if (t < 0 || t > sec) return 0;
    const phase = 2 * Math.PI * (fromHz * t + ((toHz - fromHz) * t * t) / (2 * sec));
    const edge = Math.min(1, t / 0.003, (sec - t) / 0.003);
    return edge * [1, 2, 3, 4, 5, 6].reduce((s, h) => s + Math.sin(h * phase) / h, 0);
  };
}

function record(call: (t: number) => number, delaySec: number, level: number, noise: number, seed: number): Float32Array {
  const { gauss } = makeRandom(seed);
  return Float32Array.from({ length: meter.size }, (_, n) => level * call((n - meter.reachFrames) / FS - delaySec) + noise * gauss());
}

function hear(call: (t: number) => number, delaysSec: number[], noise = 0.02): number[][] {
  const own = record(call, 0, 1, 0.001, 1);
  own.fill(0, 0, meter.reachFrames);
  own.fill(0, meter.reachFrames + Math.round(0.09 * FS));
  return meter.measure(own, delaysSec.map((d, k) => record(call, d, 0.1, noise, 10 + k))).map((peaks) => peaks.map((p) => p.lagFrames / FS));
}

describe('arrivals of a call', () => {
  it('are found to a few microseconds, early or late, well beyond a frame of 12 ms', () => {
    // Not whole frames, on an odd and an even number of tracks.
    const delays = [-0.0153217, 0.00000713, 0.0181119];
    for (const count of [1, 2, 3]) {
      hear(makeCall(600, 750, 0.08), delays.slice(0, count)).forEach((lags, k) => expect(Math.abs(lags[0] - delays[k])).toBeLessThan(4e-6));
    }
  });

  it('tell the periods of a sweeping call apart; a steady one keeps its rivals, the true lag among them', () => {
    const [sweep] = hear(makeCall(600, 750, 0.08), [0.009]);
    expect(Math.abs(sweep[0] - 0.009)).toBeLessThan(4e-6);
    const [steady] = hear(makeCall(600, 600, 0.08), [0.009]);
    expect(steady.length).toBeGreaterThan(1);
    expect(Math.min(...steady.map((lag) => Math.abs(lag - 0.009)))).toBeLessThan(2e-5);
    // Rivals lie whole periods away.
    for (const lag of steady) expect(Math.abs(Math.round((lag - 0.009) * 600) / 600 - (lag - 0.009))).toBeLessThan(1e-4);
  });

  it('agree with the plain phase correlation of every bin', () => {
    const call = makeCall(600, 750, 0.08);
    const own = record(call, 0, 1, 0, 1);
    const other = record(call, 0.0042, 0.1, 0.05, 3);
    const [peaks] = meter.measure(own, [other]);
    const at = (lag: number): number => correlatePlainly(own, other, lag);
    const lag = Math.round(peaks[0].lagFrames);
    for (const d of [-40, -7, -1, 1, 7, 40]) expect(at(lag)).toBeGreaterThan(at(lag + d));
  });

  it('are none in silence, in noise, and where a track holds no numbers', () => {
    const call = makeCall(600, 750, 0.08);
    const own = record(call, 0, 1, 0, 1);
    const silence = new Float32Array(meter.size);
    const [a, b, c] = meter.measure(own, [silence, record(() => 0, 0, 0, 0.1, 5), new Float32Array(meter.size).fill(NaN)]);
    expect(a).toEqual([]);
    expect(b).toEqual([]);
    expect(c).toEqual([]);
    expect(meter.measure(silence, [own])).toEqual([[]]);
  });
});

/** Sum over the band of the call's share times the cosine of the phase difference, bin by bin, at one lag. */
function correlatePlainly(own: Float32Array, other: Float32Array, lag: number): number {
  const size = own.length;
  let sum = 0;
  const bins: { power: number; phase: number; k: number }[] = [];
  for (let k = Math.round((400 / FS) * size); k < (5000 / FS) * size; k += 3) {
    let ar = 0; let ai = 0; let br = 0; let bi = 0;
    for (let n = 0; n < size; n++) {
      const c = Math.cos((2 * Math.PI * k * n) / size);
      const s = Math.sin((2 * Math.PI * k * n) / size);
      ar += own[n] * c; ai -= own[n] * s; br += other[n] * c; bi -= other[n] * s;
    }
    bins.push({ power: ar * ar + ai * ai, phase: Math.atan2(bi, br) - Math.atan2(ai, ar), k });
  }
  const most = Math.max(...bins.map((b) => b.power));
  for (const b of bins) sum += (b.power / (b.power + 1e-3 * most)) * Math.cos(b.phase + (2 * Math.PI * b.k * lag) / size);
  return sum;
}
