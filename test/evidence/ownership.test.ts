import { describe, expect, it } from 'vitest';
import { ownedLevel } from '../../src/evidence/extract-stretch.js';
import { mapOwnership, sumLevels, sumOwned } from '../../src/evidence/ownership.js';
import type { StretchSpectra } from '../../src/evidence/spectra.js';
import { addVoice, analyse, flatFloor, makeGaussian, middleOf, RATE, settings } from './make-stretch.js';

const BINS: [number, number] = [4, 60];
const BIN_COUNT = 65;
const FRAMES = 40;
const FLOOR = 1e-6;

/** Spectra out of thin air: `power(track, frame, bin)` over a floor of 1e-6. */
function makeSpectra(trackCount: number, power: (j: number, t: number, b: number) => number): StretchSpectra {
  return {
    trackCount, frameCount: FRAMES, binCount: BIN_COUNT, groupCount: 1, complex: new Float32Array(0),
    power: Array.from({ length: trackCount }, (_, j) => Float32Array.from({ length: FRAMES * BIN_COUNT }, (__, k) => FLOOR + power(j, Math.floor(k / BIN_COUNT), k % BIN_COUNT))),
  };
}
const floors = (n: number): Float32Array[] => Array.from({ length: n }, () => new Float32Array(BIN_COUNT).fill(FLOOR));
const noneLost = (n: number): Uint8Array[] => Array.from({ length: n }, () => new Uint8Array(FRAMES));

describe('ownership of bins', () => {
  // Bird j calls in its own block of bins; another bird's microphone gets it 10 dB softer; gains differ by up to 21 dB.
  const gainDb = [0, 12, -9, 5];
  const blockOf = (b: number): number => Math.floor((b - 4) / 14);
  const sound = (j: number, t: number, b: number): number => (t >= 10 && t < 30 && b >= 4 && b < 60 ? 1e-2 * 10 ** ((gainDb[j] - (blockOf(b) === j ? 0 : 10)) / 10) : 0);
  const s = makeSpectra(4, sound);

  it('goes to the caller once known gains are taken out, with the lead that was put in', () => {
    const { owner, leadDb } = mapOwnership(s, floors(4), gainDb, noneLost(4), BINS);
    for (let t = 11; t < 29; t++) {
      for (let b = 5; b < 59; b++) {
        if (blockOf(b - 1) !== blockOf(b + 1)) continue;
        expect(owner[t * BIN_COUNT + b]).toBe(blockOf(b));
        expect(leadDb[t * BIN_COUNT + b]).toBeCloseTo(10, 3);
      }
    }
  });

  it('goes to the loudest track without them', () => {
    const { owner } = mapOwnership(s, floors(4), [0, 0, 0, 0], noneLost(4), BINS);
    // Bird 3 alone is loud enough on its own track: 5 dB against 12 - 10.
    for (let b = 6; b < 44; b++) expect(owner[20 * BIN_COUNT + b]).toBe(1);
  });

  it('does not depend on a common offset of the gains', () => {
    const a = mapOwnership(s, floors(4), gainDb, noneLost(4), BINS);
    const b = mapOwnership(s, floors(4), gainDb.map((g) => g + 17), noneLost(4), BINS);
    expect(b.owner).toEqual(a.owner);
  });

  it('is nobody\'s outside the band, in quiet, and never a lost track\'s', () => {
    const lost = noneLost(4);
    lost[1].fill(1, 0, 20);
    const { owner, leadDb } = mapOwnership(s, floors(4), gainDb, lost, BINS);
    for (let t = 0; t < FRAMES; t++) {
      for (let b = 0; b < BIN_COUNT; b++) {
        const k = t * BIN_COUNT + b;
        if (t < 8 || t > 31 || b < 4 || b >= 60) expect(owner[k]).toBe(255);
        if (t < 20) expect(owner[k]).not.toBe(1);
        if (owner[k] === 255) expect(leadDb[k]).toBe(0);
      }
    }
    expect(owner[25 * BIN_COUNT + 25]).toBe(1);
  });

  it('needs four times the floor on the owner\'s own track', () => {
    for (const [excess, expected] of [[2.9, 255], [3.1, 0]]) {
      const { owner } = mapOwnership(makeSpectra(2, (j) => (j === 0 ? excess * FLOOR : 0)), floors(2), [0, 0], noneLost(2), BINS);
      expect(owner[20 * BIN_COUNT + 20]).toBe(expected);
    }
  });

  it('adds up: owned energy per frame and levels over a set of bins', () => {
    const { owner } = mapOwnership(s, floors(4), gainDb, noneLost(4), BINS);
    const sums = sumOwned(s, floors(4)[2], owner, 2, BINS);
    expect(sums[5]).toBe(0);
    let count = 0;
    for (let b = 0; b < BIN_COUNT; b++) if (owner[20 * BIN_COUNT + b] === 2) count++;
    // Next to the neighbour's block the smoothing moves the border by a bin at most.
    expect(Math.abs(count - 14)).toBeLessThanOrEqual(2);
    let expected = 0;
    for (let b = 4; b < 60; b++) if (owner[20 * BIN_COUNT + b] === 2) expected += sound(2, 20, b);
    expect(sums[20] / expected).toBeCloseTo(1, 5);
    const set = Uint32Array.from([20 * BIN_COUNT + 35, 20 * BIN_COUNT + 40, 21 * BIN_COUNT + 38]);
    const levels = sumLevels(s, floors(4), set, 38);
    expect(levels.low[2] / sound(2, 20, 35)).toBeCloseTo(1, 5);
    expect(levels.high[2] / (2 * sound(2, 20, 40))).toBeCloseTo(1, 5);
    expect(levels.noise[2] / (3 * FLOOR)).toBeCloseTo(1, 6);
  });
});

describe('ownership of sound', () => {
  it('gives two birds that call at once each their own bins, although the gains differ by 15 dB', async () => {
    const deviation = 1e-3;
    const x = [0, 1].map((j) => makeGaussian(RATE, 40 + j, deviation));
    const gains = [1, 10 ** (15 / 20)];
    // Far enough apart in pitch; each is 14 dB softer on the other track before the gain.
    const ways = [[0.05, 0.01], [0.01, 0.05]];
    x.forEach((track, j) => {
      addVoice(track, 0.3, 0.5, gains[j] * ways[0][j], { freqHz: 1200, partials: 1 });
      addVoice(track, 0.35, 0.6, gains[j] * ways[1][j], { freqHz: 5000, partials: 1 });
    });
    const s = await analyse(x);
    const f = x.map(() => flatFloor(deviation ** 2));
    const lost = x.map(() => new Uint8Array(s.frameCount));
    const level = (gainDb: number[], track: number, sec: number): number => {
      const map = mapOwnership(s, f, gainDb, lost, settings.bandBins);
      return ownedLevel(s, f[track], map.owner, track, settings.bandBins)[Math.round((sec * RATE) / settings.hopFrames)];
    };
    for (const track of [0, 1]) expect(level([0, 15], track, 0.42)).toBeGreaterThan(5);
    expect(level([0, 15], 1, 0.32)).toBeLessThan(0);
    // Without the gains the second microphone takes both.
    expect(level([0, 0], 0, 0.42)).toBeLessThan(0);
    const map = mapOwnership(s, f, [0, 15], lost, settings.bandBins);
    const leads = [...map.owner.keys()].filter((k) => map.owner[k] === 0 && s.power[0][k] > 1000 * deviation ** 2).map((k) => map.leadDb[k]);
    expect(leads.length).toBeGreaterThan(20);
    expect(Math.abs(middleOf(leads) - 20 * Math.log10(5))).toBeLessThan(0.5);
  });
});
