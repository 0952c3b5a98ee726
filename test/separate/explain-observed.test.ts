import { beforeAll, describe, expect, it } from 'vitest';
import type { BinRange } from '../../src/kernels/paths.js';
import { addSystem, createPathSystem, PathEngine } from '../../src/separate/path-system.js';
import type { Planes } from '../../src/separate/planes.js';
import { makeNoise, openKernels } from '../kernels/support.js';

const BINS = 11, FRAMES = 18, TAPS = 3;
const draw = (seed: number): Planes => ({ re: Float32Array.from(makeNoise(FRAMES * BINS, seed)), im: Float32Array.from(makeNoise(FRAMES * BINS, seed + 1)), frameCount: FRAMES, binCount: BINS });

describe('explaining what is observed in one go', () => {
  let engine: PathEngine;
  beforeAll(async () => {
    engine = new PathEngine(await openKernels(), { tapCount: TAPS, leadTaps: 1 });
  });

  it.each<BinRange>([[0, 11], [2, 9], [5, 6], [4, 4]])('is bit for bit what its steps give in turn, bins %i to %i', (...range) => {
    const references = [draw(11), draw(21)], observed = draw(31), weight = Float32Array.from(makeNoise(FRAMES * BINS, 41), (v) => 1 + v), prior = new Float64Array(2 * TAPS * BINS).fill(0.5);
    const known = createPathSystem(TAPS, BINS);
    engine.addObservations(known, [draw(51)], weight, draw(61));
    for (const own of [undefined, weight]) {
      for (const systems of [[], [{ system: known, at: TAPS }]]) {
        const joint = createPathSystem(2 * TAPS, BINS);
        if (own) engine.addObservations(joint, references, own, observed, range);
        for (const { system, at } of systems) addSystem(joint, system, at);
        const want = engine.predict(engine.solve(joint, prior, range), references, range), got = engine.explain(references, observed, own, systems, prior, range);
        expect(got.crosstalk.re).toEqual(want.crosstalk.re);
        expect(got.crosstalk.im).toEqual(want.crosstalk.im);
        expect(got.variance).toEqual(want.variance);
        if (range[1] > range[0]) expect(got.variance.some((v) => v > 0)).toBe(true);
      }
    }
  });
});
