import { describe, expect, it } from 'vitest';
import { createPlanes } from '../../src/separate/planes.js';
import { chooseSeparationSettings } from '../../src/separate/settings.js';
import { removeTrusted, weighTrust } from '../../src/separate/trust-removal.js';

const settings = chooseSeparationSettings(8000), BINS = settings.binCount, FRAMES = 12;

function makeCrosstalk(level: number) {
  const planes = createPlanes(FRAMES, BINS);
  planes.re.fill(level * 0.6); planes.im.fill(level * 0.8);
  return planes;
}

describe('trust in predicted crosstalk', () => {
  const crosstalk = makeCrosstalk(1), active = new Uint8Array(FRAMES).fill(1), leave = (ratio: number) => new Float32Array(FRAMES * BINS).fill(ratio);

  it('is 1 / (1 + (doubt L / D)^4) where power and what is left are the same in all bins', () => {
    for (const [ratio, doubt] of [[0.05, 2], [0.5, 2], [0.2, 8], [3, 1]]) {
      const trust = weighTrust(crosstalk, leave(ratio), active, doubt, settings);
      // In mid-band, where the pooling of both sums has the same edges.
      expect(trust[BINS >> 1]).toBeCloseTo(1 / (1 + (doubt * ratio) ** 4), 6);
    }
  });

  it('looks at windows with the own voice only', () => {
    const left = leave(0.01);
    left.fill(100, 6 * BINS);
    expect(weighTrust(crosstalk, left, active, 2, settings)[BINS >> 1]).toBeLessThan(1e-3);
    expect(weighTrust(crosstalk, left, active.map((_, k) => (k < 6 ? 1 : 0)), 2, settings)[BINS >> 1]).toBeGreaterThan(0.999);
  });

  it('vanishes where nothing was predicted, and removes nothing there', () => {
    const none = createPlanes(FRAMES, BINS), trust = weighTrust(none, leave(0.1), active, 2, settings);
    expect(trust.every((v) => v < 1e-100)).toBe(true);
    const observed = makeCrosstalk(3);
    expect(removeTrusted(observed, none, trust)).toEqual(observed);
  });

  it('scales what is removed bin by bin', () => {
    const trust = Float64Array.from({ length: BINS }, (_, b) => b / BINS), out = removeTrusted(makeCrosstalk(3), crosstalk, trust);
    out.re.forEach((v, i) => expect(v).toBeCloseTo(0.6 * (3 - (i % BINS) / BINS), 6));
  });
});
