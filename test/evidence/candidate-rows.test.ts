import { describe, expect, it } from 'vitest';
import { countRowNumbers, packCandidates, unpackCandidates } from '../../src/evidence/candidate-rows.js';
import { makeCandidate } from '../model/make-candidate.js';

/** Every number differs from every other, so that none can stand in another's place. */
function makeDistinct(trackCount: number, start: number) {
  const c = makeCandidate(trackCount, { track: 0, onsetSec: 0 });
  let next = start;
  for (const [name, value] of Object.entries(c)) {
    Object.assign(c, { [name]: value instanceof Float64Array ? value.map(() => next++) : next++ });
  }
  return c;
}

describe('candidates as rows of numbers', () => {
  it.each([1, 2, 8, 16])('hold every number of every candidate, for %i tracks', (trackCount) => {
    const make = () => [makeDistinct(trackCount, 1), makeDistinct(trackCount, 1000), makeDistinct(trackCount, 2000)];
    const rows = packCandidates(make(), trackCount);
    const distinct = new Set(rows);
    expect(rows.length).toBe(3 * countRowNumbers(trackCount));
    expect(distinct.size).toBe(rows.length);
    expect(unpackCandidates(rows, trackCount)).toEqual(make());
  });

  it('keep values that JSON has no text for, bit by bit, also sent to another thread', () => {
    const made = makeCandidate(4, { track: 3, onsetSec: -0, levelDb: Float64Array.of(-0, NaN, Infinity, 5e-324) });
    const [back] = unpackCandidates(structuredClone(packCandidates([made], 4)), 4);
    expect(back).toEqual(made);
    expect(Object.is(back.onsetSec, -0) && Object.is(back.levelDb[0], -0)).toBe(true);
  });

  it('are nothing for no candidates', () => {
    expect(unpackCandidates(packCandidates([], 5), 5)).toEqual([]);
  });

  it('share one piece of memory', () => {
    const rows = packCandidates([makeDistinct(4, 1), makeDistinct(4, 500)], 4);
    for (const c of unpackCandidates(rows, 4)) for (const v of Object.values(c)) if (v instanceof Float64Array) expect(v.buffer).toBe(rows.buffer);
  });
});
