import { describe, expect, it } from 'vitest';
import { attributeTracks } from '../../src/node/attribute-tracks.js';
import { scoreCalls, type Score } from '../../src/score/score-calls.js';
import { drawRandomScene, type ScenePreset } from '../../src/simulate/random-scene.js';
import { simulateScene } from '../../src/simulate/simulate-scene.js';
import { compareClock } from './compare-clock.js';

/**
 * The shipped models were learned on seeds from 3000 to 3999 and calibrated on 7000 to 7127: these rooms, birds and voices were never seen. The
 * first three seeds from 5000 are taken, good or bad (two-clocks 5002 is the worst: F1 .932). 'Right time and right bird' F1, pooled, and ghosts per
 * true call as measured, 50 s each: easy 1.000 and 0, normal .990 and 0, two-clocks .974 and .007. Each floor is .05 below what was measured: a
 * few calls more that go wrong; ghosts may be .03 more.
 */
const SEEDS = [5000, 5001, 5002];
const SCENES = [['easy', 0.95, 0.03], ['normal', 0.939, 0.03], ['two-clocks', 0.923, 0.037]] as const;
const SECONDS = 50;

interface Outcome { score: Score; clock: { rmsSec: number; statedSec: number } | undefined }

async function judge(preset: ScenePreset, seed: number): Promise<Outcome> {
  const scene = simulateScene({ ...drawRandomScene(seed, preset), durationSec: SECONDS }, seed);
  const { tracks, truth } = scene;
  const result = await attributeTracks({
    birds: tracks.map((t) => t.bird), signals: tracks.map((t) => t.samples), recorders: tracks.map((t) => t.recorder), sampleRateHz: scene.sampleRateHz,
  });
  const labels = truth.map(({ bird, onsetSec, offsetSec }) => ({ bird, onsetSec, offsetSec, extra: {} }));
  // Truth and tables are both on the first recorder's clock.
  return { score: scoreCalls(result.calls, labels, { resamples: 1 }), clock: preset === 'two-clocks' ? compareClock(result.clock, scene.clock) : undefined };
}

/** 'Right time and right bird' over several scenes: counts added up. */
function pool(outcomes: readonly Outcome[]): { f1: number; ghosts: number } {
  let hits = 0; let wrong = 0; let ghosts = 0; let labels = 0;
  for (const { score } of outcomes) {
    hits += score.rightBird.truePositives;
    wrong += score.rightBird.falsePositives + score.rightBird.falseNegatives;
    ghosts += score.ghosts.count;
    labels += score.counts.labels;
  }
  return { f1: (2 * hits) / (2 * hits + wrong), ghosts: ghosts / labels };
}

describe('scenes of the simulator with seeds that were never learned from', () => {
  it.each(SCENES)('%s: F1 at least %f, ghosts per call at most %f, edges to the millisecond', async (preset, leastF1, mostGhosts) => {
    const outcomes: Outcome[] = [];
    for (const seed of SEEDS) outcomes.push(await judge(preset, seed));
    const { f1, ghosts } = pool(outcomes);
    expect(f1).toBeGreaterThanOrEqual(leastF1);
    expect(ghosts).toBeLessThanOrEqual(mostGhosts);
    for (const { score, clock } of outcomes) {
      // Measured 0.5 to 1.6 ms.
      expect(score.timing.onset.medianMs.value).toBeLessThan(2.5);
      if (!clock) continue;
      // Measured 0.03 to 1.0 ms rms after 50 s of calls, the worst with 1.1 ms stated: few calls are heard across recorders.
      expect(clock.rmsSec).toBeLessThan(0.0015);
      expect(clock.rmsSec).toBeLessThan(2 * clock.statedSec);
    }
  });
});
