import { describe, expect, it } from 'vitest';
import { Random } from '../../src/simulate/random.js';
import { RecorderClock, recordThroughClock } from '../../src/simulate/recorder-clock.js';
import { findLabelEdges } from '../../src/simulate/label-edges.js';
import { simulateScene } from '../../src/simulate/simulate-scene.js';
import { makeQuietScene, SILENT_TAG } from './support.js';

const clock = new RecorderClock({ name: '2', offsetSec: 1.7, driftPpm: -35, wanderPpm: 1.2, wanderSec: 40 }, new Random(3));

describe('recorder clock', () => {
  it('turns file time back into reference time', () => {
    for (let t = 0; t < 100; t += 7.3) expect(Math.abs(clock.toReferenceSec(t + clock.offsetSec(t)) - t)).toBeLessThan(1e-10);
  });

  it('has an offset whose slope is its rate', () => {
    for (let t = 1; t < 100; t += 9.1) expect(Math.abs(((clock.offsetSec(t + 0.01) - clock.offsetSec(t - 0.01)) / 0.02) * 1e6 - clock.ratePpm(t))).toBeLessThan(1e-3);
  });

  it('writes every sample at its own moment: a tone keeps its phase on the reference clock', () => {
    const fs = 8000, freqHz = 1100, input = new Float32Array(fs * 30);
    for (let i = 0; i < input.length; i++) input[i] = Math.sin((2 * Math.PI * freqHz * i) / fs);
    const out = recordThroughClock(input, 0, clock, fs, fs * 20);
    for (const at of [3.1, 8, 13.7, 19]) {
      let re = 0, im = 0;
      const first = Math.round(at * fs);
      for (let i = first; i < first + 400; i++) {
        const phase = 2 * Math.PI * freqHz * clock.toReferenceSec(i / fs);
        re += out[i] * Math.sin(phase); im += out[i] * Math.cos(phase);
      }
      // One microsecond is 0.0069 rad at 1.1 kHz.
      expect(Math.abs(Math.atan2(im, re)) / (2 * Math.PI * freqHz)).toBeLessThan(1e-6);
      expect(re / 200).toBeCloseTo(1, 2);
    }
  });

  it('shows in a scene: calls stand in the second file where truth and clock table say', () => {
    const scene = makeQuietScene({ durationSec: 12, recorders: [{ name: '1' }, { name: '2', offsetSec: -1.25, driftPpm: 60 }] });
    scene.birds![1] = { ...scene.birds![1], recorder: '2', tag: SILENT_TAG };
    scene.calls = [{ bird: 'blue', onsetSec: 3, levelDb: 0 }];
    const { tracks, truth, clock: rows, sampleRateHz } = simulateScene(scene, 1, { ownVoice: true });
    const edges = findLabelEdges(Float64Array.from(tracks[1].ownVoice!), sampleRateHz);
    const expected = truth[0].onsetSec + rows.find((r) => r.tRefSec === 3)!.offsetSec;
    expect(rows.every((r) => r.recorder === '2')).toBe(true);
    expect(Math.abs(edges.startFrame / sampleRateHz - expected)).toBeLessThan(1.5 / sampleRateHz);
  });
});
