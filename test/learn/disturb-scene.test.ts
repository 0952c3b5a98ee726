import { describe, expect, it } from 'vitest';
// @ts-expect-error plain JavaScript
import { disturbScene } from '../../bench/learn/disturb-scene.mjs';

const RATE = 8000;
type Disturb = (scene: { signals: Float32Array[]; sampleRateHz: number; seed: number }, label: string) => Float32Array[];
const disturb = disturbScene as Disturb;
/** Two tracks of a weak tone: what is added shows. */
const makeSignals = (): Float32Array[] => [0, 1].map((track) => Float32Array.from({ length: RATE }, (_, i) => 0.01 * Math.sin(0.3 * i + track)));

describe('disturbed scenes', () => {
  it('are the same for the same seed and label, others for others, and leave what they were made from as it is', () => {
    const signals = makeSignals();
    for (let seed = 1; seed <= 20; seed++) expect(disturb({ signals, sampleRateHz: RATE, seed }, 'a')).toEqual(disturb({ signals, sampleRateHz: RATE, seed }, 'a'));
    expect(signals).toEqual(makeSignals());
    const differing = Array.from({ length: 20 }, (_, seed) => JSON.stringify(disturb({ signals, sampleRateHz: RATE, seed }, 'a')) !== JSON.stringify(disturb({ signals, sampleRateHz: RATE, seed }, 'b')));
    expect(differing.filter(Boolean).length).toBeGreaterThan(10);
  });

  it('hold numbers only, and a share of scenes is left alone', () => {
    // A minute of eight tracks: sound that comes and goes is there at some time, and what falls on some tracks only on one at least.
    const rate = 500, signals = Array.from({ length: 8 }, () => new Float32Array(60 * rate).fill(0.01)), count = 400;
    let alone = 0;
    for (let seed = 0; seed < count; seed++) {
      const out = disturb({ signals, sampleRateHz: rate, seed }, 'a');
      expect(out.every((x) => x.length === 60 * rate && x.every(Number.isFinite))).toBe(true);
      if (out.every((x, track) => x.every((v, i) => v === signals[track][i]))) alone++;
    }
    // The shares of steady sound and a second one, wandering, clipping, drops and clicks: within three standard deviations of so many draws.
    const expected = (1 - 0.5) * (1 - 0.125) * (1 - 0.1) ** 2 * (1 - 0.15) ** 2;
    expect(Math.abs(alone / count - expected)).toBeLessThan(3 * Math.sqrt((expected * (1 - expected)) / count));
  });

  it('of silence hold no NaN', () => {
    const silent = [new Float32Array(RATE), new Float32Array(RATE)];
    for (let seed = 0; seed < 50; seed++) expect(disturb({ signals: silent, sampleRateHz: RATE, seed }, 'a').every((x) => x.every(Number.isFinite))).toBe(true);
  });
});
