import { describe, expect, it } from 'vitest';
// @ts-expect-error plain JavaScript
import { packEvidence, unpackEvidence } from '../../bench/learn/evidence-file.mjs';
import { makeCandidate } from '../model/make-candidate.js';

const makeScene = (name: string, count: number) => ({
  seed: 7, preset: 'normal', birds: ['B1', name], truth: [{ bird: name, onsetSec: 0.1, offsetSec: 0.2 + 1 / 3 }],
  gains: { gainDb: Float64Array.of(1 / 3, -1 / 3), scaleDb: 1.5, leadCurveDb: Float64Array.of(7, 12, 17, 20), observations: 3 },
  candidates: Array.from({ length: count }, (_, n) => makeCandidate(2, { track: n % 2, onsetSec: n / 3, levelDb: Float64Array.of(-0, NaN) })),
});

describe('evidence kept for learning', () => {
  it.each([0, 1, 5])('comes back bit by bit, with %i candidates and heads of any length', (count) => {
    // Characters of one to four bytes: the head is padded to eight bytes after it is encoded.
    for (const name of ['B2', 'B23', 'Bé', 'B2345', 'B☂', 'B𝄞', 'B234567', 'B2345678', 'B23456789']) {
      const scene = makeScene(name, count);
      expect(unpackEvidence(packEvidence(scene))).toEqual(scene);
      // As it is read from a file: a view of a larger buffer, at any place.
      const bytes: Uint8Array = packEvidence(scene), within = new Uint8Array(bytes.length + 3);
      within.set(bytes, 3);
      expect(unpackEvidence(within.subarray(3))).toEqual(scene);
    }
  });
});
