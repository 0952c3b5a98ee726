import { describe, expect, it } from 'vitest';
import { acceptCandidates, isTwinOf } from '../../src/attribute/suppress.js';
import { makeCandidate } from '../model/make-candidate.js';

/** One call that tracks 0 and 1 hear 0.1 ms apart, as a candidate of track 1 and its twin on track 0. */
const origin = makeCandidate(3, { track: 1, onsetSec: 10, lagSec: Float64Array.of(-0.0001, 0, 0.001) });
const twin = makeCandidate(3, { track: 0, onsetSec: 9.9999, offsetSec: 10.0999, twin: 1, lagSec: Float64Array.of(0, 0.0001, 0.0011) });

describe('twins', () => {
  it('are one sound on two tracks in contact, whichever is asked', () => {
    expect(isTwinOf(origin, twin)).toBe(true);
    expect(isTwinOf(twin, origin)).toBe(true);
  });

  it('are not: two cuts that each own sound, tracks too far apart, sounds that hardly agree or hardly overlap', () => {
    expect(isTwinOf(origin, { ...twin, twin: 0 })).toBe(false);
    expect(isTwinOf({ ...origin, lagSec: Float64Array.of(-0.0007, 0, 0.001) }, twin)).toBe(false);
    expect(isTwinOf({ ...origin, agreementZ: Float64Array.of(5.9, 0, 20) }, twin)).toBe(false);
    expect(isTwinOf({ ...origin, offsetSec: 10.06 }, twin)).toBe(false);
  });

  it('leave one call: the surer one, of equals the first', () => {
    expect(acceptCandidates([twin, origin], [0.9, 0.7], 0.5)).toEqual([0]);
    expect(acceptCandidates([twin, origin], [0.7, 0.9], 0.5)).toEqual([1]);
    expect(acceptCandidates([twin, origin], [0.8, 0.8], 0.5)).toEqual([0]);
    // Two birds that call at once: each is heard first by its own track. What both tracks hear with the same lags is one call, twin or not.
    const atOnce = { ...twin, twin: 0, lagSec: Float64Array.of(0, 0.0002, 0.0011) };
    expect(acceptCandidates([atOnce, { ...origin, lagSec: Float64Array.of(0.0002, 0, 0.001) }], [0.9, 0.7], 0.5)).toEqual([0, 1]);
    expect(acceptCandidates([{ ...twin, twin: 0 }, origin], [0.9, 0.7], 0.5)).toEqual([0]);
    expect(acceptCandidates([twin, origin], [0.4, 0.45], 0.5)).toEqual([]);
  });
});

describe('cores', () => {
  const core = makeCandidate(2, { track: 0, onsetSec: 10, offsetSec: 10.07, core: 1 }), whole = makeCandidate(2, { track: 0, onsetSec: 10.004, offsetSec: 10.16 });

  it('stand for the longer cut that begins with them, if that is a call by itself', () => {
    expect(acceptCandidates([core, whole], [0.9, 0.6], 0.5)).toEqual([1]);
    expect(acceptCandidates([core, whole], [0.9, 0.45], 0.5)).toEqual([0]);
    expect(acceptCandidates([{ ...core, core: 0 }, whole], [0.9, 0.6], 0.5)).toEqual([0]);
    // What begins 16 ms before is led into by something else: that is what cores are for.
    expect(acceptCandidates([{ ...whole, onsetSec: 9.984 }, core], [0.6, 0.9], 0.5)).toEqual([1]);
    expect(acceptCandidates([core, { ...whole, track: 1 }], [0.9, 0.6], 0.5)).toEqual([0, 1]);
  });

  it('stay where the longer cut reaches into another call of the bird', () => {
    const next = makeCandidate(2, { track: 0, onsetSec: 10.09, offsetSec: 10.15 });
    expect(acceptCandidates([core, whole, next], [0.9, 0.6, 0.8], 0.5)).toEqual([0, 2]);
  });

  it('take the surest of several longer cuts, wherever it stands', () => {
    const longest = makeCandidate(2, { track: 0, onsetSec: 9.99, offsetSec: 10.2 });
    expect(acceptCandidates([longest, core, whole], [0.7, 0.9, 0.6], 0.5)).toEqual([0]);
    expect(acceptCandidates([longest, core, whole], [0.6, 0.9, 0.7], 0.5)).toEqual([2]);
  });
});
