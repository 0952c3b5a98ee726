import { describe, expect, it } from 'vitest';
import { attributeTracks } from '../../src/node/attribute-tracks.js';
import { scoreCalls } from '../../src/score/score-calls.js';
import { drawRandomScene } from '../../src/simulate/random-scene.js';
import { simulateScene } from '../../src/simulate/simulate-scene.js';

/**
 * A scene whose calls are found, and the same with steady sound of the room in a part of the band. Right time and right bird, F1 as measured: unaltered
 * 1.000, whistle .958, mains .980, fan .979; without the filter .080, .737 and .154. Each floor is .05 below what was measured, a few calls that go wrong.
 */
const RATE = 48000, SECONDS = 40;
const scene = simulateScene({ ...drawRandomScene(5000, 'normal'), durationSec: SECONDS }, 5000);

/** Steady sound added to every track, each with a phase or noise of its own. */
function addSound(make: (track: number) => (frame: number) => number): Float32Array[] {
  return scene.tracks.map((t, j) => {
    const sound = make(j);
    return t.samples.map((v, i) => v + sound(i));
  });
}

/** Noise between two frequencies: two resonances of white noise, far above what is between calls. */
function makeFan(track: number): (frame: number) => number {
  let seed = 1 + 7919 * (track + 1), a1 = 0, a2 = 0, b1 = 0, b2 = 0;
  return () => {
    seed = (16807 * seed) % 2147483647;
    const x = seed / 2147483647 - 0.5;
    const r = 0.99, turn = Math.cos((2 * Math.PI * 600) / RATE);
    const a = x + 2 * r * turn * a1 - r * r * a2;
    a2 = a1; a1 = a;
    const b = a + 2 * r * turn * b1 - r * r * b2;
    b2 = b1; b1 = b;
    return 2e-6 * b;
  };
}

async function measureF1(signals: readonly Float32Array[]): Promise<number> {
  const result = await attributeTracks({
    birds: scene.tracks.map((t) => t.bird), signals: [...signals], recorders: scene.tracks.map((t) => t.recorder), sampleRateHz: scene.sampleRateHz,
  });
  const { rightBird } = scoreCalls(result.calls, scene.truth.map(({ bird, onsetSec, offsetSec }) => ({ bird, onsetSec, offsetSec, extra: {} })), { resamples: 1 });
  return (2 * rightBird.truePositives) / (2 * rightBird.truePositives + rightBird.falsePositives + rightBird.falseNegatives);
}

describe('steady noise in a part of the call band', () => {
  it.each<[string, number, (track: number) => (frame: number) => number]>([
    ['nothing', 0.95, () => () => 0],
    ['a whistle of 3 kHz', 0.908, (j) => (i) => 0.03 * Math.sin((2 * Math.PI * 3000 * i) / RATE + j)],
    ['the harmonics of mains', 0.93, (j) => (i) => [1, 2, 3, 5, 7, 11, 13, 17, 19].reduce((s, h) => s + (0.05 / h) * Math.sin((2 * Math.PI * 50 * h * i) / RATE + h * j), 0)],
    ['a fan around 600 Hz', 0.929, makeFan],
  ])('hides no calls: %s', async (_, least, make) => {
    expect(await measureF1(addSound(make))).toBeGreaterThanOrEqual(least);
  });
});
