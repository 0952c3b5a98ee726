import { describe, expect, it } from 'vitest';
import { chooseSeparationSettings } from '../../src/separate/settings.js';
import { weighTrust } from '../../src/separate/trust-removal.js';

const settings = chooseSeparationSettings(8000), BINS = settings.binCount;

describe('trust in predicted crosstalk', () => {
  const flat = (value: number): Float32Array => new Float32Array(BINS).fill(value);

  it('is 1 / (1 + (doubt L / D)^4) where power and what is left are the same in all bins', () => {
    for (const [ratio, doubt] of [[0.05, 2], [0.5, 2], [0.2, 8], [3, 1]]) {
      // In mid-band, where the pooling of both sums has the same edges.
      expect(weighTrust(flat(12), flat(12 * ratio), doubt, settings)[BINS >> 1]).toBeCloseTo(1 / (1 + (doubt * ratio) ** 4), 6);
    }
  });

  it('vanishes where nothing was predicted', () => {
    expect(weighTrust(flat(0), flat(0.1), 2, settings).every((v) => v < 1e-100)).toBe(true);
  });

  it('follows the bins', () => {
    const left = flat(0.01).fill(2, BINS - 20), trust = weighTrust(flat(1), left, 2, settings);
    expect(trust[0]).toBeGreaterThan(0.9);
    expect(trust[BINS - 1]).toBeLessThan(0.1);
  });
});
