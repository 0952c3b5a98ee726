import { describe, expect, it } from 'vitest';
import { SteadyMeter, type SteadySound } from '../../src/study/measure-steady.js';
import { makeGaussian } from '../evidence/make-stretch.js';

const RATE = 32000, SECONDS = 12;

/** White noise of -60 dB and what is added to it, second by second. */
function measure(add: (i: number) => number, change: (x: Float32Array) => void = () => undefined): SteadySound | undefined {
  const meter = new SteadyMeter(RATE, [400, 11000]);
  const x = makeGaussian(SECONDS * RATE, 5, 0.001).map((v, i) => v + add(i));
  change(x);
  for (let s = 0; s < SECONDS; s++) meter.add(x.subarray(s * RATE, (s + 1) * RATE));
  return meter.finish();
}
const sine = (freqHz: number, level: number) => (i: number): number => level * Math.sin((2 * Math.PI * freqHz * i) / RATE);

describe('steady sound', () => {
  it('is not found in noise, in silence, below the call band, or in too little sound', () => {
    expect(measure(() => 0)).toBeUndefined();
    expect(measure(() => 0, (x) => x.fill(0))).toBeUndefined();
    expect(measure(sine(100, 0.05))).toBeUndefined();
    const meter = new SteadyMeter(RATE, [400, 11000]);
    meter.add(makeGaussian(RATE, 5, 0.001).map((v, i) => v + sine(3000, 0.1)(i)));
    expect(meter.finish()).toBeUndefined();
  });

  it('is not found in calls, however loud', () => {
    // A fifth of a second in each second.
    expect(measure((i) => (i % RATE < RATE / 5 ? sine(3000, 0.3)(i) : 0))).toBeUndefined();
  });

  it('is found where a tone holds on, with its frequency, height and share', () => {
    const found = measure(sine(3000, 0.02))!;
    expect(found.fromHz).toBeLessThan(3000);
    expect(found.toHz).toBeGreaterThan(3000);
    // Lines are 32000 / 1024 = 31.25 Hz apart; in a Hann window a tone on a line has three.
    expect(found.toHz - found.fromHz).toBeCloseTo(3 * 31.25, 6);
    expect(found.otherCount).toBe(0);
    // The power of the tone, .0002, is spread as 2/3 in its line over noise of 1e-6 in 512 lines: 10 log10(.0002 / 1e-6 * 512 * 2 / 3) = 48.3 dB, and
    // 10 log10(1 / ln(4 / 3)) = 5.4 dB more for its quartile, which is taken for that of noise; the median over the band of quartiles of 48 rows lies within 1.5 dB.
    expect(Math.abs(found.aboveDb - 53.7)).toBeLessThan(1.5);
    expect(found.noiseShare).toBeGreaterThan(0.9);
  });

  it('is found in hours of sound, of which a part is kept', () => {
    const meter = new SteadyMeter(RATE, [400, 11000]);
    const piece = makeGaussian(10 * RATE, 5, 0.001).map((v, i) => v + sine(3000, 0.02)(i));
    for (let k = 0; k < 60; k++) meter.add(piece);
    expect(Math.abs(meter.finish()!.aboveDb - 53.7)).toBeLessThan(1.5);
  });

  it('tells the loudest of several, and how many others there are', () => {
    const found = measure((i) => sine(3000, 0.01)(i) + sine(5200, 0.02)(i) + sine(900, 0.005)(i))!;
    expect(found.fromHz).toBeGreaterThan(5000);
    expect(found.toHz).toBeLessThan(5400);
    expect(found.otherCount).toBe(2);
  });

  it('is found in noise of a part of the band, with its edges', () => {
    // Two resonances: 3 dB edges about 70 Hz from 600.
    let a1 = 0, a2 = 0;
    const noise = makeGaussian(SECONDS * RATE, 8, 0.002);
    const r = 0.98, turn = 2 * r * Math.cos((2 * Math.PI * 600) / RATE);
    const found = measure((i) => { const a = noise[i] + turn * a1 - r * r * a2; a2 = a1; a1 = a; return a; })!;
    expect(found.fromHz).toBeLessThan(560);
    expect(found.toHz).toBeGreaterThan(640);
    expect(found.toHz).toBeLessThan(6000);
  });
});
