import { beforeAll, describe, expect, it } from 'vitest';
import { attributeTracks } from '../../src/node/attribute-tracks.js';
import { measureForecastErrors } from '../../src/refit/forecast-errors.js';
import { judgeStretch } from '../../src/refit/judge-rows.js';
import { applyLine, fitLine, toLogOdds } from '../../src/refit/rising-line.js';
import type { JudgedRow } from '../../src/refit/rising-line.js';
import { drawRandomScene } from '../../src/simulate/random-scene.js';
import { simulateScene } from '../../src/simulate/simulate-scene.js';

// Three scenes of the hardest preset, about a hundred rows each, of which about a tenth are wrong, as one table: what was judged of it must help with the rest.
// From one scene to another it need not: they differ in how sure a row may be.
const table: JudgedRow[] = [];

async function judgeScene(seed: number): Promise<JudgedRow[]> {
  const scene = simulateScene(drawRandomScene(seed, 'harsh'), seed);
  const { calls } = await attributeTracks({
    birds: scene.tracks.map((t) => t.bird), recorders: scene.tracks.map((t) => t.recorder), signals: scene.tracks.map((t) => t.samples), sampleRateHz: scene.sampleRateHz,
  });
  return judgeStretch(calls, scene.truth.map(({ bird, onsetSec, offsetSec }) => ({ bird, onsetSec, offsetSec, extra: {} })), { fromSec: 0, toSec: Infinity }).rows;
}

beforeAll(async () => {
  for (const seed of [8501, 8503, 8505]) table.push(...await judgeScene(seed));
}, 240_000);

describe('a refit on attributed scenes', () => {
  it.each([['too sure', (z: number) => 1.5 + 1.3 * z], ['too unsure', (z: number) => 0.6 * z - 0.5]] as const)('recovers probabilities that were made %s, for rows it has not seen', (_, distort) => {
    const stated = table.map((r) => ({ ...r, probability: 1 / (1 + Math.exp(-distort(toLogOdds(r.probability)))) }));
    for (const half of [0, 1]) {
      const isJudged = (_r: JudgedRow, n: number): boolean => n % 2 === half, isOther = (r: JudgedRow, n: number): boolean => !isJudged(r, n);
      const line = fitLine(stated.filter(isJudged)), other = stated.filter(isOther);
      const before = measureForecastErrors(other);
      const after = measureForecastErrors(other.map((r) => ({ ...r, probability: applyLine(line, r.probability, r.isUntagged) })));
      const undistorted = measureForecastErrors(table.filter(isOther));
      expect(after.calibrationError).toBeLessThan(before.calibrationError);
      // At least half of what the distortion cost is won back.
      expect(after.logLoss - undistorted.logLoss).toBeLessThan(0.5 * (before.logLoss - undistorted.logLoss));
    }
  });
});
