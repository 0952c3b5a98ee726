import { describe, expect, it } from 'vitest';
import { resolveSettings } from '../../src/evidence/settings.js';

describe('analysis settings', () => {
  it('follow from the sample rate: a transform near 11.6 ms, a band below its half', () => {
    for (const rate of [2000, 8000, 16000, 22050, 32000, 44100, 48000, 96000, 192000, 500000]) {
      const s = resolveSettings(rate), ms = (1e3 * s.fftSize) / rate;
      expect(Math.log2(s.fftSize) % 1, `${rate}`).toBe(0);
      // To the nearest power of two: within a factor of the root of two.
      expect(Math.abs(Math.log2(ms / 11.6)), `${rate}`).toBeLessThanOrEqual(0.5);
      expect(s.hopFrames * 4).toBe(s.fftSize);
      expect(s.bandBins[0]).toBeGreaterThan(0);
      expect(s.bandBins[1]).toBeGreaterThan(s.bandBins[0]);
      expect(s.bandBins[1]).toBeLessThanOrEqual(s.fftSize / 2);
    }
    expect(resolveSettings(48000)).toMatchObject({ fftSize: 512, bandHz: [400, 11000], bandBins: [4, 118] });
  });

  it('refuse rates that the transforms cannot serve, with what would do', () => {
    for (const rate of [0, -1, NaN, 100, 1999, 500001, 3e6]) expect(() => resolveSettings(rate), `${rate}`).toThrow(/no such sample rate can be attributed; got .* Hz; expected 2000 to 500000 Hz/);
  });
});
