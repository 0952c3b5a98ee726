import { describe, expect, it } from 'vitest';
import { makeVoicePattern, readVoicePattern, VOICE_BINS, VOICE_NUMBERS } from '../../src/evidence/voice-pattern.js';
import { makeRandom } from '../model/clock-synthetic.js';

const BINS = [4, 132] as const;

function read(spectrum: ArrayLike<number>, bins: readonly [number, number] = BINS): number[] {
  const packed = makeVoicePattern(spectrum, bins);
  expect(packed.length).toBe(VOICE_NUMBERS);
  const out = new Int8Array(VOICE_BINS + 2).fill(77);
  readVoicePattern(packed, out, 1);
  expect([out[0], out[VOICE_BINS + 1]]).toEqual([77, 77]);
  return [...out.subarray(1, VOICE_BINS + 1)];
}

/** The same from the definition: energies by interpolated sums up to an edge, fourth roots, less the mean of up to fifteen around. */
function define(spectrum: ArrayLike<number>, [from, to]: readonly [number, number]): number[] {
  const upTo = (x: number): number => { let sum = 0; for (let b = from; b < to; b++) sum += Math.max(0, spectrum[b]) * Math.max(0, Math.min(1, x - b)); return sum; };
  const level = Array.from({ length: 96 }, (_, k) => Math.max(0, upTo(from + ((k + 1) * (to - from)) / 96) - upTo(from + (k * (to - from)) / 96)) ** 0.25);
  const around = (k: number): number[] => level.slice(Math.max(0, k - 7), k + 8);
  const rest = level.map((v, k) => v - around(k).reduce((a, b) => a + b, 0) / around(k).length);
  const most = Math.max(...rest.map(Math.abs));
  return rest.map((v) => (127 * v) / most);
}

describe('pattern of a voice', () => {
  it.each([[4, 132], [3, 99], [0, 60], [10, 197]] as const)('is what its definition says, to the rounding, for bins %i to %i', (from, to) => {
    const { uniform } = makeRandom(from + to);
    const spectrum = Float64Array.from({ length: 257 }, () => uniform() ** 6);
    const plain = define(spectrum, [from, to]);
    // Half a step of rounding, and fourth roots of differences of sums, which cancel in the plain version.
    read(spectrum, [from, to]).forEach((v, k) => expect(Math.abs(v - plain[k])).toBeLessThan(0.501));
  });

  it('does not change with loudness, and reads nothing outside the band', () => {
    const { uniform } = makeRandom(3);
    const spectrum = Float64Array.from({ length: 257 }, () => uniform() ** 4);
    const whole = read(spectrum);
    expect(read(spectrum.map((v) => 1e-9 * v))).toEqual(whole);
    expect(read(spectrum.map((v, b) => (b >= BINS[0] && b < BINS[1] ? v : NaN)))).toEqual(whole);
  });

  it('is zero of silence and of energies below the floor', () => {
    expect(read(new Float64Array(257))).toEqual(new Array(VOICE_BINS).fill(0));
    expect(read(new Float64Array(257).fill(-1))).toEqual(new Array(VOICE_BINS).fill(0));
  });

  it('survives a table as text: its numbers are whole and exact', () => {
    const { uniform } = makeRandom(5);
    for (const v of makeVoicePattern(Float64Array.from({ length: 257 }, () => uniform() ** 4), BINS)) {
      expect(Number.isSafeInteger(v)).toBe(true);
      expect(v).toBeLessThan(2 ** 48);
    }
  });
});
