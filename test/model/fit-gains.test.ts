import { describe, expect, it } from 'vitest';
import type { Candidate } from '../../src/evidence/candidate.js';
import { fitGains, LEAD_KNOTS_SEC, readLeadCurve } from '../../src/model/fit-gains.js';
import { makeRandom } from './clock-synthetic.js';
import { makeCandidate } from './make-candidate.js';

interface Table {
  tracks: number;
  calls: number;
  seed: number;
  noiseDb?: number;
  /** Share of calls whose level on a track is nonsense. */
  wrongShare?: number;
  /** Share of calls by birds without a tag, taken for the nearest track's. */
  untaggedShare?: number;
}

const SPEED_MPS = 343;
/** How much quieter a call is after that lag, on top of the room's usual curve. */
const TRUE_LEAD_DB = [8, 13, 18, 21];
const trueLead = (lagSec: number): number => readLeadCurve({ gainDb: new Float64Array(0), scaleDb: 0, leadCurveDb: Float64Array.from(TRUE_LEAD_DB), observations: 0 }, lagSec);

/** Birds at places, receivers with gains: what each call leaves on every track. Gains have mean zero. */
function draw({ tracks, calls, seed, noiseDb = 2, wrongShare = 0, untaggedShare = 0 }: Table): { candidates: Candidate[]; gainDb: number[] } {
  const { uniform, gauss } = makeRandom(seed);
  const gains = Array.from({ length: tracks }, () => 16 * (uniform() - 0.5));
  const mean = gains.reduce((a, b) => a + b, 0) / tracks;
  const gainDb = gains.map((g) => g - mean);
  const place = (): number[] => [2 * uniform(), 1.5 * uniform(), 1.2 * uniform()];
  const at = Array.from({ length: tracks }, place);
  const candidates = Array.from({ length: calls }, (_, n) => {
    const untagged = uniform() < untaggedShare;
    const track = Math.floor(uniform() * tracks);
    const from = untagged ? place() : at[track];
    const reach = (j: number): number => Math.hypot(...from.map((v, k) => v - at[j][k]));
    const lagSec = Float64Array.from(at, (_p, j) => (reach(j) - (untagged ? reach(track) : 0)) / SPEED_MPS);
    const wrong = uniform() < wrongShare;
    const levelDb = Float64Array.from(at, (_p, j) => {
      if (untagged) return -50 - 20 * Math.log10(0.1 + reach(j)) + gainDb[j] + noiseDb * gauss();
      if (j === track) return -40 + gainDb[j];
      return -40 + gainDb[j] - trueLead(lagSec[j]) + noiseDb * gauss() + (wrong ? 30 * (uniform() - 0.7) : 0);
    });
    return makeCandidate(tracks, { track, onsetSec: n, levelDb, lagSec, floorDb: new Float64Array(tracks).fill(-90) });
  });
  return { candidates, gainDb };
}

const worstError = (fit: { gainDb: ArrayLike<number> }, gainDb: readonly number[]): number => Math.max(...gainDb.map((g, j) => Math.abs(fit.gainDb[j] - g)));
/** Noise floors that say nothing true about the gains. */
const floorsFor = (n: number, seed: number): number[] => { const { gauss } = makeRandom(seed); return Array.from({ length: n }, () => -70 + 4 * gauss()); };

describe('receiver gains', () => {
  // Every call gives a reading of spread 2 dB of gain differences to all tracks; each gain is met by some 2 calls readings. The worst of up to 16
  // gains lies within four standard errors 2 / sqrt(2 calls) dB; what the lead curve leaves open adds half a decibel.
  const bound = (calls: number): number => (4 * 2) / Math.sqrt(2 * calls) + 0.5;

  it.each([2, 3, 4, 8, 12, 16])('of %i tracks are recovered from calls alone', (tracks) => {
    const { candidates, gainDb } = draw({ tracks, calls: 40 * tracks, seed: tracks });
    const fit = fitGains(candidates, floorsFor(tracks, 5));
    expect(worstError(fit, gainDb)).toBeLessThan(bound(40));
    expect(Math.abs(fit.gainDb.reduce((a, b) => a + b, 0))).toBeLessThan(1e-9);
    expect(fit.observations).toBeGreaterThan(20 * tracks);
  });

  it('do not follow noise floors that are wrong by 10 dB', () => {
    const { candidates, gainDb } = draw({ tracks: 6, calls: 240, seed: 21 });
    const fit = fitGains(candidates, gainDb.map((g, j) => g + (j % 2 ? 10 : -10)));
    expect(worstError(fit, gainDb)).toBeLessThan(bound(40) + 0.5);
  });

  it('stand 20 % of nonsense levels', () => {
    const { candidates, gainDb } = draw({ tracks: 8, calls: 320, seed: 31, wrongShare: 0.2 });
    expect(worstError(fitGains(candidates, floorsFor(8, 6)), gainDb)).toBeLessThan(bound(40) + 0.5);
  });

  it('stand a quarter of the calls coming from birds without a tag', () => {
    const { candidates, gainDb } = draw({ tracks: 8, calls: 320, seed: 41, untaggedShare: 0.25 });
    expect(worstError(fitGains(candidates, floorsFor(8, 7)), gainDb)).toBeLessThan(bound(40) + 0.5);
  });

  it('come from the noise floors where there are no calls', () => {
    const fit = fitGains([], [-70, -60, -65]);
    expect([...fit.gainDb].map((v) => Number(v.toFixed(9)))).toEqual([-5, 5, 0]);
    expect(fit.observations).toBe(0);
    expect(fitGains([], []).gainDb.length).toBe(0);
  });

  it('are those of the receivers, however loud each bird is in its own microphone', () => {
    const { candidates, gainDb } = draw({ tracks: 8, calls: 320, seed: 81 });
    const ownDb = [6, -6, 4, -4, 5, -5, 3, -3];
    for (const c of candidates) c.levelDb[c.track] += ownDb[c.track];
    // Each own level is known to 3 dB beforehand and met by 280 readings: it is pulled to zero by far less than the bound.
    expect(worstError(fitGains(candidates, floorsFor(8, 11)), gainDb)).toBeLessThan(bound(40) + 0.5);
  });

  it('of a bird that never calls follow from how others arrive there', () => {
    const { candidates, gainDb } = draw({ tracks: 6, calls: 360, seed: 51 });
    const heard = candidates.filter((c) => c.track !== 4);
    expect(worstError(fitGains(heard, floorsFor(6, 8)), gainDb)).toBeLessThan(2 * bound(40));
  });

  it('do not depend on a common level or on the order of the calls', () => {
    const { candidates } = draw({ tracks: 5, calls: 100, seed: 61, wrongShare: 0.1 });
    const floors = floorsFor(5, 9);
    const a = fitGains(candidates, floors).gainDb;
    const louder = candidates.map((c) => ({ ...c, levelDb: c.levelDb.map((v) => v + 23), floorDb: c.floorDb.map((v) => v + 23) }));
    fitGains(louder, floors.map((v) => v - 11)).gainDb.forEach((v, j) => expect(v).toBeCloseTo(a[j], 6));
    fitGains([...candidates].reverse(), floors).gainDb.forEach((v, j) => expect(v).toBeCloseTo(a[j], 6));
  });

  it('come with the lead that a room gives after a lag', () => {
    const { candidates } = draw({ tracks: 8, calls: 640, seed: 71 });
    const fit = fitGains(candidates, floorsFor(8, 10));
    for (const lag of [0.0008, 0.0015, 0.003]) expect(Math.abs(readLeadCurve(fit, lag) - trueLead(lag))).toBeLessThan(1);
    // At the knots themselves, and held beyond them.
    LEAD_KNOTS_SEC.forEach((lag, k) => expect(readLeadCurve(fit, lag)).toBeCloseTo(fit.leadCurveDb[k], 9));
    expect(readLeadCurve(fit, 0)).toBe(fit.leadCurveDb[0]);
    expect(readLeadCurve(fit, 1)).toBeCloseTo(fit.leadCurveDb[3], 9);
  });
});
