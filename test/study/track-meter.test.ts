import { describe, expect, it } from 'vitest';
import { planCheck } from '../../src/study/check-plan.js';
import { HumMeter } from '../../src/study/measure-hum.js';
import { TrackMeter } from '../../src/study/track-meter.js';
import type { TrackMeasures } from '../../src/study/track-meter.js';
import { makeNoise } from './make-wav.js';

const RATE = 8000;

function measure(samples: Float32Array, blockFrames = samples.length, gaps: { from: number; to: number; isLost: boolean }[] = []): TrackMeasures {
  const meter = new TrackMeter(RATE);
  for (let at = 0; at < samples.length; at += blockFrames) {
    const block = samples.subarray(at, at + blockFrames);
    meter.add(block, block.length, at, gaps.filter((g) => g.from >= at && g.to <= at + block.length).map((g) => ({ ...g, from: g.from - at, to: g.to - at })));
  }
  return meter.finish();
}

const sine = (n: number, freqHz: number, size: number): Float32Array => Float32Array.from({ length: n }, (_, i) => size * Math.sin((2 * Math.PI * freqHz * i) / RATE));
const add = (...parts: Float32Array[]): Float32Array => parts[0].map((_, i) => parts.reduce((s, p) => s + p[i], 0));
/** Noise that a room gives: slow, its neighbouring samples alike. */
function slowNoise(n: number, seed: number, size: number): Float32Array {
  const out = makeNoise(n, seed, size);
  for (let i = 1; i < n; i++) out[i] = 0.9 * out[i - 1] + 0.1 * out[i];
  return out;
}

describe('TrackMeter', () => {
  it('measures a sine at full scale as -3.01 dB (mean square 1/2), its peak as 0 dB', () => {
    const m = measure(sine(RATE, 1000, 1));
    expect(m.levelDb).toBeCloseTo(-3.0103, 3);
    expect(m.peakDb).toBeCloseTo(0, 6);
    expect(m.dcOffset).toBeCloseTo(0, 6);
    expect(m.readSec).toBe(1);
  });

  it('measures uniform noise in [-a, a) as a^2/3 and takes the quiet part for the floor', () => {
    const samples = makeNoise(4 * RATE, 1, 0.01);
    for (let i = RATE; i < 4 * RATE; i++) samples[i] *= 10;
    const m = measure(samples);
    expect(m.levelDb).toBeCloseTo(10 * Math.log10(((0.25 * 0.01 ** 2) + 0.75 * 0.1 ** 2) / 3), 1);
    // A window of 160 samples scatters by about 0.3 dB; bins are 1 dB wide.
    expect(Math.abs(m.noiseFloorDb - 10 * Math.log10(0.01 ** 2 / 3))).toBeLessThan(1);
  });

  it('finds the constant part and keeps it out of the level', () => {
    const m = measure(add(sine(RATE, 1000, 0.1), new Float32Array(RATE).fill(0.25)));
    expect(m.dcOffset).toBeCloseTo(0.25, 5);
    expect(m.levelDb).toBeCloseTo(-23.01, 1);
  });

  it('gives the same for any cut into blocks that are whole windows', () => {
    const samples = add(slowNoise(3 * RATE, 2, 0.05), sine(3 * RATE, 900, 0.3));
    samples.fill(0, 5000, 9000);
    const whole = measure(samples);
    expect(measure(samples, 1600)).toEqual(whole);
  });

  it.each([[0.99, 15], [0.5, 15], [0.2, 15]])('counts waves cut at %d', (top, most) => {
    const samples = add(slowNoise(RATE, 3, 0.01), makeNoise(RATE, 5, 0.001));
    for (let burst = 0; burst < 5; burst++) for (let i = 0; i < 400; i++) samples[burst * 1500 + i] += Math.sin((2 * Math.PI * 437 * i) / RATE);
    const m = measure(samples.map((x) => Math.max(-top, Math.min(top, x))));
    expect(m.clippedRuns).toBeGreaterThanOrEqual(5);
    expect(m.clippedSamples).toBeGreaterThan(most);
    expect(measure(samples).clippedRuns).toBe(0);
  });

  it('takes neither quiet sound in coarse steps nor a loud tone for clipped', () => {
    const steps = makeNoise(RATE, 4, 4 / 32768).map((x) => Math.round(x * 32768) / 32768);
    expect(measure(steps).clippedRuns).toBe(0);
    expect(measure(sine(4 * RATE, 440.3, 0.8).map((x) => Math.round(x * 32768) / 32768)).clippedRuns).toBe(0);
  });

  it('takes loud 8-bit sound for clipped only where it is', () => {
    const in8Bits = (x: Float32Array): Float32Array => x.map((v) => Math.max(-128, Math.min(127, Math.round(128 * v))) / 128);
    const bursts = (size: number): Float32Array => add(slowNoise(RATE, 3, 0.02), sine(RATE, 437, 1).map((v, i) => (i % 1600 < 400 ? size * v : 0)));
    for (const size of [0.1, 0.22, 0.5, 0.9]) {
      expect(measure(in8Bits(bursts(size))).clippedRuns, `${size}`).toBe(0);
      expect(measure(in8Bits(sine(RATE, 440.3, size))).clippedRuns, `${size}`).toBe(0);
    }
    for (const size of [1.5, 3]) expect(measure(in8Bits(bursts(size))).clippedRuns, `${size}`).toBeGreaterThanOrEqual(5);
    expect(measure(in8Bits(bursts(0.9).map((v) => Math.max(-0.3, Math.min(0.3, v))))).clippedRuns).toBeGreaterThanOrEqual(5);
  });

  it('finds digital silence of at least 50 ms, also at another value than 0 and across blocks', () => {
    const samples = makeNoise(2 * RATE, 5);
    samples.fill(0, 1000, 1000 + 0.5 * RATE);
    samples.fill(0.25, 9000, 9000 + 0.1 * RATE);
    samples.fill(0, 12000, 12000 + 0.04 * RATE);
    for (const block of [2 * RATE, 1600]) {
      const m = measure(samples, block);
      expect(m.silentSec).toBeCloseTo(0.6, 2);
      expect(m.longestSilenceSec).toBeCloseTo(0.5, 2);
      expect(m.silences.map((s) => s.startSec.toFixed(3))).toEqual(['0.125', '1.125']);
    }
  });

  it('finds loud receiver noise, and takes neither calls nor wing noise for it', () => {
    const samples = slowNoise(4 * RATE, 6, 0.01);
    samples.set(makeNoise(2400, 7, 0.2), RATE);
    samples.set(sine(1600, 700, 0.3), 2 * RATE);
    samples.set(slowNoise(2400, 8, 1), 3 * RATE);
    const m = measure(samples);
    expect(m.dropouts).toHaveLength(1);
    expect(m.dropouts[0].startSec).toBeCloseTo(1, 1);
    expect(m.dropoutSec).toBeCloseTo(0.3, 1);
  });

  it('does not count gaps, and tells how much was lost', () => {
    const samples = makeNoise(RATE, 9, 0.1);
    samples.fill(0, 1600, 4800);
    const m = measure(samples, RATE, [{ from: 1600, to: 3200, isLost: true }, { from: 3200, to: 4800, isLost: false }]);
    expect([m.readSec, m.lostSec, m.silentSec]).toEqual([0.6, 0.2, 0]);
    // The mean square of 4800 uniform samples scatters by 1.3 %, 0.056 dB: three times that.
    expect(Math.abs(m.levelDb - 10 * Math.log10(0.01 / 3))).toBeLessThan(0.17);
  });

  it('has no numbers where nothing was read, and no false ones in silence', () => {
    const none = new TrackMeter(RATE).finish();
    expect([none.readSec, none.levelDb, none.peakDb, none.noiseFloorDb, none.dcOffset]).toEqual([0, NaN, NaN, NaN, NaN]);
    const silent = measure(new Float32Array(RATE));
    expect([silent.silentSec, silent.levelDb, silent.peakDb, silent.noiseFloorDb, silent.clippedRuns]).toEqual([1, -Infinity, -Infinity, NaN, 0]);
  });
});

describe('HumMeter', () => {
  const hum = (samples: Float32Array) => {
    const meter = new HumMeter(RATE);
    meter.add(samples);
    return meter.finish()!;
  };
  it('measures a mains line as its mean square', () => {
    const found = hum(add(sine(RATE, 60, 0.1), makeNoise(RATE, 1, 1e-4)));
    expect(found.mainsHz).toBe(60);
    expect(found.levelDb).toBeCloseTo(10 * Math.log10(0.1 ** 2 / 2), 1);
    expect(found.prominenceDb).toBeGreaterThan(40);
  });
  it('finds it by a multiple alone and 0.2 Hz off', () => {
    const found = hum(add(sine(RATE, 150.2, 0.05), makeNoise(RATE, 2, 1e-3)));
    expect(found.mainsHz).toBe(50);
    expect(found.levelDb).toBeCloseTo(10 * Math.log10(0.05 ** 2 / 2), 0);
  });
  it('does not stand out in noise', () => {
    const meter = new HumMeter(RATE);
    for (let i = 0; i < 20; i++) meter.add(makeNoise(RATE, 10 + i, 0.1));
    expect(meter.finish()!.prominenceDb).toBeLessThan(6);
  });
});

describe('planCheck', () => {
  it('reads short studies whole', () => {
    expect(planCheck(25 * RATE, RATE, 1, false)).toEqual({ share: 1, blocks: [{ startFrame: 0, frameCount: 80000 }, { startFrame: 80000, frameCount: 80000 }, { startFrame: 160000, frameCount: 40000 }] });
    expect(planCheck(0, RATE, 0, false).blocks).toEqual([]);
  });
  it('spreads blocks from the first frame to the last of a long one, and reads all where asked', () => {
    const frames = 15 * 86400 * RATE;
    const plan = planCheck(frames, RATE, 360, false);
    expect(plan.blocks).toHaveLength(360);
    expect([plan.blocks[0].startFrame, plan.blocks[359].startFrame + plan.blocks[359].frameCount]).toEqual([0, frames]);
    const full = planCheck(frames, RATE, 360, true);
    expect(full.blocks.reduce((n, b) => n + b.frameCount, 0)).toBe(frames);
  });
});
