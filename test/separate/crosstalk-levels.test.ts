import { describe, expect, it } from 'vitest';
import { spreadPrior } from '../../src/separate/crosstalk-levels.js';
import type { CrosstalkLevels } from '../../src/separate/crosstalk-levels.js';
import { chooseSeparationSettings } from '../../src/separate/settings.js';

describe('what is expected of a path of which nothing is known', () => {
  const settings = chooseSeparationSettings(8000), { tapCount, leadTaps, binCount, hopFrames, pathDecaySec } = settings, width = binCount + 3;
  // Track 0 hears track 1 in a rising share, the other way round nothing is known.
  const ratio = [0, 1, 2, 3].map((pair) => Float64Array.from({ length: binCount }, (_, b) => (pair === 1 ? 0.001 * (1 + b) : 1e-5)));
  const levels: CrosstalkLevels = { trackCount: 2, ratio, usual: new Float64Array(4), callCount: new Uint8Array(4) }, prior = new Float64Array(tapCount * width);
  spreadPrior(levels, 0, 1, settings, width, prior);
  const taps = (b: number): number[] => Array.from({ length: tapCount }, (_, l) => prior[l * width + b]);

  it('has three times the level of the pair in every bin, over all taps', () => {
    for (let b = 0; b < binCount; b++) expect(taps(b).reduce((a, v) => a + v, 0) / ratio[1][b]).toBeCloseTo(3, 9);
  });

  it('is most when the sound arrives, less before, and falls from tap to tap as a room does', () => {
    const [b, fall] = [7, Math.exp(-hopFrames / 8000 / pathDecaySec)], of = taps(b), arrival = of[leadTaps];
    for (let l = 0; l < leadTaps; l++) expect(of[l] / arrival).toBeCloseTo(0.3, 9);
    for (let l = leadTaps + 1; l < tapCount; l++) expect(of[l] / of[l - 1]).toBeCloseTo(fall, 9);
  });

  it('can be divided by where rows are padded', () => {
    for (let l = 0; l < tapCount; l++) for (let b = binCount; b < width; b++) expect(prior[l * width + b]).toBe(1);
  });
});
