import { beforeAll, describe, expect, it } from 'vitest';
import { attributeTracks } from '../../src/node/attribute-tracks.js';
import { measureForecastErrors } from '../../src/refit/forecast-errors.js';
import { judgeStretch } from '../../src/refit/judge-rows.js';
import { applyLine, fitLine, toLogOdds } from '../../src/refit/rising-line.js';
import type { JudgedRow } from '../../src/refit/rising-line.js';
import { drawRandomScene } from '../../src/simulate/random-scene.js';
import { simulateScene } from '../../src/simulate/simulate-scene.js';

// Two scenes of the hardest preset, about a hundred rows each, of which more than a tenth are wrong: what was judged in one must help in the other.
const scenes: JudgedRow[][] = [];

async function judgeScene(seed: number): Promise<JudgedRow[]> {
  const scene = simulateScene(drawRandomScene(seed, 'harsh'), seed);
  const { calls } = await attributeTracks({
    birds: scene.tracks.map((t) => t.bird), recorders: scene.tracks.map((t) => t.recorder), signals: scene.tracks.map((t) => t.samples), sampleRateHz: scene.sampleRateHz,
  });
  return judgeStretch(calls, scene.truth.map(({ bird, onsetSec, offsetSec }) => ({ bird, onsetSec, offsetSec, extra: {} })), { fromSec: 0, toSec: Infinity }).rows;
}

beforeAll(async () => {
  for (const seed of [8501, 8503]) scenes.push(await judgeScene(seed));
}, 240_000);

describe('a refit on attributed scenes', () => {
  it.each([['too sure', (z: number) => 1.5 + 1.3 * z], ['too unsure', (z: number) => 0.6 * z - 0.5]] as const)('recovers probabilities that were made %s, for a scene it has not seen', (_, distort) => {
    const stated = scenes.map((rows) => rows.map((r) => ({ ...r, probability: 1 / (1 + Math.exp(-distort(toLogOdds(r.probability)))) })));
    for (const [judged, other] of [[0, 1], [1, 0]]) {
      const line = fitLine(stated[judged]);
      const before = measureForecastErrors(stated[other]);
      const after = measureForecastErrors(stated[other].map((r) => ({ ...r, probability: applyLine(line, r.probability, r.isUntagged) })));
      const undistorted = measureForecastErrors(scenes[other]);
      expect(after.calibrationError).toBeLessThan(before.calibrationError);
      // At least half of what the distortion cost is won back.
      expect(after.logLoss - undistorted.logLoss).toBeLessThan(0.5 * (before.logLoss - undistorted.logLoss));
    }
  });
});
