import { beforeAll, describe, expect, it } from 'vitest';
import { makeVoicePattern, readVoicePattern, VOICE_BINS, VOICE_NUMBERS } from '../../src/evidence/voice-pattern.js';
import type { Kernels } from '../../src/kernels/kernels.js';
import { ln } from '../../src/numeric/elementary.js';
import { referenceLevel } from '../reference/owned-level.js';
import { referenceCourse, referenceSpectrum } from '../reference/sound-shape.js';
import { referenceVoice } from '../reference/voice-pattern.js';
import { allocGuarded, makeNoise, openKernels } from './support.js';

let k: Kernels;
beforeAll(async () => {
  k = await openKernels(1 << 20);
});

/** Energies that span many decades, some of them 0; a few loud. */
const makeEnergies = (count: number, seed: number): Float64Array => makeNoise(count, seed).map((v, i) => (i % 5 === 3 ? 0 : (v + 0.5) ** 6 * 10 ** -((i * 7) % 9)));
const place = (values: ArrayLike<number>): number => {
  const ptr = k.alloc(8 * values.length);
  k.f64(ptr, values.length).set(values);
  return ptr;
};

function describeSpectrum(spectrum: Float64Array, first: number, end: number, places: Uint8Array): { numbers: number[]; bands: number[] } {
  const placePtr = k.alloc(places.length), out = allocGuarded(k, 44);
  k.u8(placePtr, places.length).set(places);
  k.fn.describeSpectrum(place(spectrum), first, end, placePtr, out.ptr);
  out.expectIntact();
  const values = [...k.f64(out.ptr, 22)];
  return { numbers: values.slice(0, 6), bands: values.slice(6) };
}

describe('what a spectrum is like', () => {
  it.each([1, 2, 3, 4, 5, 8, 16, 31, 64, 67, 118])('has the bits of the plain loops over %i bins', (width) => {
    const mark = k.mark();
    const spectrum = makeEnergies(width + 6, 70 + width), places = Uint8Array.from({ length: width }, (_, n) => Math.floor((16 * n) / width));
    const got = describeSpectrum(spectrum, 4, 4 + width, places), want = referenceSpectrum(spectrum, 4, 4 + width, places, ln);
    expect(got).toEqual(want);
    // Another logarithm: a few of 67 terms' units in the last place.
    expect(Math.abs(got.numbers[4] - referenceSpectrum(spectrum, 4, 4 + width, places).numbers[4])).toBeLessThan(1e-13);
    k.release(mark);
  });

  it('is ln n for n equal bins (Shannon 1948), and nothing for silence', () => {
    const even = describeSpectrum(new Float64Array(40).fill(3), 4, 36, new Uint8Array(32));
    expect(even.numbers[4]).toBeCloseTo(Math.log(32), 12);
    // A discrete uniform distribution over n has the variance (n^2 - 1) / 12.
    expect(even.numbers[5]).toBeCloseTo((32 ** 2 - 1) / 12, 10);
    expect(even.bands[0]).toBe(1);
    expect(describeSpectrum(new Float64Array(40), 4, 36, new Uint8Array(32))).toEqual({ numbers: [0, 0, 4, 0, 0, 0], bands: Array<number>(16).fill(0) });
  });
});

describe('what a course in time is like', () => {
  it.each([0, 1, 2, 3, 4, 7, 64, 67])('has the bits of the plain loops over %i frames', (count) => {
    const mark = k.mark();
    const course = makeEnergies(count, 9 + count), out = allocGuarded(k, 8);
    k.fn.describeCourse(place(course), count, out.ptr);
    out.expectIntact();
    expect([...k.f64(out.ptr, 4)]).toEqual(referenceCourse(course, ln));
    k.release(mark);
  });

  it('has no entropy where there is silence or a single frame', () => {
    const out = allocGuarded(k, 8);
    for (const course of [[0, 0, 0], [0, 5, 0]]) {
      k.fn.describeCourse(place(course), 3, out.ptr);
      expect(k.f64(out.ptr, 4)[3]).toBe(0);
    }
  });
});

describe('the pattern of a voice', () => {
  const measure = (spectrum: Float64Array, first: number, end: number): Float64Array => {
    const scratch = allocGuarded(k, 384), out = allocGuarded(k, 2 * VOICE_NUMBERS);
    k.fn.voicePattern(place(spectrum), first, end, scratch.ptr, out.ptr);
    scratch.expectIntact();
    out.expectIntact();
    return k.f64(out.ptr, VOICE_NUMBERS).slice();
  };

  it.each([[0, 96], [4, 122], [1, 13], [7, 250], [3, 200], [2, 3]])('has the numbers of the plain loops and of the host, bins %i to %i', (first, end) => {
    const mark = k.mark();
    const spectrum = makeEnergies(256, first + end), packed = measure(spectrum, first, end), values = new Int8Array(VOICE_BINS);
    expect([...packed]).toEqual([...makeVoicePattern(spectrum, [first, end])]);
    readVoicePattern(packed, values);
    expect([...values]).toEqual(referenceVoice(spectrum, first, end).map((v) => v + 0));
    k.release(mark);
  });

  it('is 0 throughout for silence', () => {
    const values = new Int8Array(VOICE_BINS).fill(1);
    readVoicePattern(measure(new Float64Array(256), 4, 122), values);
    expect(values.every((v) => v === 0)).toBe(true);
  });
});

describe('a level over the floor', () => {
  it.each([1, 2, 3, 4, 5, 8, 33, 64, 67])('is that of the plain loops over %i frames', (count) => {
    const mark = k.mark();
    const sums = allocGuarded(k, count), level = allocGuarded(k, count);
    sums.values.set(makeEnergies(count, 3 + count));
    sums.values[0] = 2;
    const most = k.fn.smoothLevel(sums.ptr, count, 0.37, level.ptr);
    for (const guarded of [sums, level]) guarded.expectIntact();
    const want = referenceLevel(sums.values, 0.37);
    // Half a unit of f32 in the last place of at most 30 dB, and what the logarithms differ by.
    want.forEach((v, t) => expect(Math.abs(level.values[t] - v), `frame ${t}`).toBeLessThan(1.001e-6));
    expect(most).toBe(Math.max(...level.values));
    k.release(mark);
  });

  it('is -30 for silence, denormals and NaN', () => {
    const sums = allocGuarded(k, 6), level = allocGuarded(k, 6);
    sums.values.set([0, 0, 1e-42, 1e-42, NaN, 0]);
    expect(k.fn.smoothLevel(sums.ptr, 6, 1, level.ptr)).toBe(-30);
    expect([...level.values]).toEqual(Array<number>(6).fill(-30));
  });
});
