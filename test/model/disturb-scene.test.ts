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
    const signals = makeSignals(), kinds = { alone: 0, changed: 0 };
    for (let seed = 0; seed < 200; seed++) {
      const out = disturb({ signals, sampleRateHz: RATE, seed }, 'a');
      expect(out.every((x, track) => x.length === signals[track].length && x.every(Number.isFinite))).toBe(true);
      kinds[out.every((x, track) => x.every((v, i) => v === signals[track][i])) ? 'alone' : 'changed']++;
    }
    // (1 - .5) (1 - .125) (1 - .1)^2 (1 - .15)^2 = .256 of the scenes draw nothing: within five standard deviations of 200 draws.
    expect(Math.abs(kinds.alone / 200 - 0.256)).toBeLessThan(5 * Math.sqrt((0.256 * 0.744) / 200));
  });

  it('of silence hold no NaN', () => {
    const silent = [new Float32Array(RATE), new Float32Array(RATE)];
    for (let seed = 0; seed < 50; seed++) expect(disturb({ signals: silent, sampleRateHz: RATE, seed }, 'a').every((x) => x.every(Number.isFinite))).toBe(true);
  });
});
