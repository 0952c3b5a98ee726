import { describe, expect, it } from 'vitest';
import { gatherArrays } from '../../src/evidence/candidate.js';
import { makeCandidate } from '../model/make-candidate.js';

describe('arrays of candidates, gathered', () => {
  it('hold what they held, in one piece of memory; again nothing is moved', () => {
    const make = () => [0, 1, 2].map((k) => makeCandidate(4, { track: k, onsetSec: k, levelDb: Float64Array.from([k, -0, NaN, 0.1]), lagSec: new Float64Array(0) }));
    const gathered = make();
    gatherArrays(gathered);
    expect(gathered).toEqual(make());
    const arrays = gathered.flatMap((c) => Object.values(c).filter((v) => v instanceof Float64Array));
    expect(new Set(arrays.map((a) => a.buffer)).size).toBe(1);
    expect(arrays.reduce((s, a) => s + a.byteLength, 0)).toBe(arrays[0].buffer.byteLength);
    const before = arrays[0].buffer;
    gatherArrays(gathered);
    expect(gathered[0].levelDb.buffer).toBe(before);
    // Sent to another thread they stay together.
    const sent = structuredClone(gathered);
    expect(sent[2].levelDb.buffer).toBe(sent[0].levelDb.buffer);
    expect(() => gatherArrays([])).not.toThrow();
  });
});
