import { describe, expect, it } from 'vitest';
import { findLostFrames } from '../../src/evidence/dropouts.js';
import { addVoice, analyse, flatFloor, HOP_SEC, makeGaussian, RATE, settings } from './make-stretch.js';

const FLOOR = 0.002;
const LENGTH = 3 * RATE;
const noise = (seed: number): Float32Array => makeGaussian(LENGTH, seed, FLOOR);

async function findLost(signals: Float32Array[], plain: boolean): Promise<Uint8Array[]> {
  const s = await analyse(signals, plain);
  return findLostFrames(s, signals.map(() => flatFloor(FLOOR ** 2)), settings.bandBins[0]);
}

const addBurst = (x: Float32Array, fromSec: number, toSec: number, deviation: number): Float32Array => {
  const loud = makeGaussian(x.length, 99, deviation);
  return x.map((v, n) => (n >= fromSec * RATE && n < toSec * RATE ? v + loud[n] : v));
};

describe.each([['kernels', false], ['plain loops', true]])('lost links by %s', (_, plain) => {
  it('are where the receiver fills all bands alike, to within the smoothing, and nowhere else', async () => {
    const [lost, other] = await findLost([addBurst(noise(1), 1, 1.3, 0.05), noise(2)], plain);
    expect(other.every((v) => v === 0)).toBe(true);
    const first = lost.indexOf(1);
    const last = lost.lastIndexOf(1);
    expect(lost.subarray(first, last + 1).every((v) => v === 1)).toBe(true);
    // Smoothed over 4 frames either way and widened by 6: at most 12 frames and half a transform outside, never inside.
    expect(first * HOP_SEC).toBeLessThanOrEqual(1);
    expect((last + 1) * HOP_SEC).toBeGreaterThanOrEqual(1.3);
    expect(first * HOP_SEC).toBeGreaterThan(1 - 14 * HOP_SEC);
    expect((last + 1) * HOP_SEC).toBeLessThan(1.3 + 15 * HOP_SEC);
  });

  it('are not seen in loud calls, in noise that falls with frequency, in a rise of 6 dB, or in silence', async () => {
    const call = noise(1);
    addVoice(call, 1, 1.2, 0.2);
    // Wing noise: white noise through a one-pole low-pass at about 400 Hz.
    const wing = addBurst(noise(2), 1, 1.3, 1);
    let y = 0;
    const low = wing.map((v) => (y += 0.055 * (v - y)));
    const rise = addBurst(noise(3), 1, 1.3, FLOOR * Math.sqrt(3));
    for (const flags of await findLost([call, low, rise, new Float32Array(LENGTH)], plain)) expect(flags.every((v) => v === 0)).toBe(true);
  });

  it('stay lost where a call of the wearer comes through the noise', async () => {
    const x = addBurst(noise(4), 1, 1.4, 0.05);
    addVoice(x, 1.1, 1.3, 0.2, { partials: 3 });
    const [lost] = await findLost([x], plain);
    for (let t = Math.ceil(1.02 / HOP_SEC); t < Math.floor(1.38 / HOP_SEC); t++) expect(lost[t], `frame ${t}`).toBe(1);
  });
});
