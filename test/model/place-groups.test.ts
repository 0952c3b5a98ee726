import { describe, expect, it } from 'vitest';
import { GROUP_FEATURES, prepareGroupFeatures } from '../../src/model/place-groups.js';
import type { Candidate } from '../../src/evidence/candidate.js';
import type { GainFit } from '../../src/model/fit-gains.js';
import { makeCandidate } from './make-candidate.js';

const gains: GainFit = { gainDb: Float64Array.from([0, 0, 0]), scaleDb: 1, leadCurveDb: Float64Array.from([7, 12, 17, 20]), observations: 100 };

/** A sound cut on the track that hears it first, its arrivals in ms and levels in dB at three tracks side by side. */
function sound(onsetSec: number, arrivalMs: readonly number[], levelDb: readonly number[], track = arrivalMs.indexOf(Math.min(...arrivalMs))) {
  return makeCandidate(3, {
    track, onsetSec, offsetSec: onsetSec + 0.1, lagSec: Float64Array.from(arrivalMs, (v) => (v - arrivalMs[track]) / 1e3), agreement: Float64Array.from([0.9, 0.9, 0.9]),
    agreementZ: Float64Array.from([40, 40, 40]), levelDb: Float64Array.from(levelDb),
  });
}

const column = (row: readonly number[], name: (typeof GROUP_FEATURES)[number]): number => row[GROUP_FEATURES.indexOf(name)];

describe('birds side by side whose sounds take turns', () => {
  // Bird 0 calls right into its own microphone. Bird 1's beak is nearer to bird 0's microphone than to its own: 0.04 ms earlier, 3 dB louder there.
  const first = [0, 0.15, 0.3], second = [0, 0.04, 0.25];
  const candidates = Array.from({ length: 12 }, (_, k) => (k % 2 === 0 ? sound(k, first, [-40, -48, -52]) : sound(k, second, [-42, -45, -52])));
  const twins = Array.from({ length: 6 }, (_, k) => sound(2 * k + 1.00004, second, [-42, -45, -52], 1));
  const all = [...candidates, ...twins].sort((a, b) => a.onsetSec - b.onsetSec);
  const rows = (): number[][] => { const describe = prepareGroupFeatures(all, all.map(() => 1), gains); return all.map((_, n) => describe(n)); };

  it('are two groups: the nearer is the first bird\'s, what is left is the other bird\'s', () => {
    rows().forEach((row, n) => {
      const isFirst = all[n].lagSec.length > 0 && Math.floor(all[n].onsetSec) % 2 === 0;
      expect(column(row, 'groupCount')).toBe(2);
      expect(column(row, 'groupSounds')).toBeCloseTo(Math.log2(6), 12);
      if (isFirst) expect(column(row, 'groupLagMarginMs')).toBeGreaterThan(0.05);
      else if (all[n].track === 0) expect(column(row, 'groupLagMarginMs')).toBeLessThan(-0.05);
      else expect(column(row, 'groupLagMarginMs')).toBeGreaterThan(0.05);
    });
  });

  it('say which group would be the bird\'s instead, and how the two compare', () => {
    const row = rows()[all.findIndex((c) => c.track === 0 && Math.floor(c.onsetSec) === 1)];
    expect(column(row, 'groupTurnsSounds')).toBeCloseTo(Math.log2(7), 12);
    expect(column(row, 'groupTurnsLagMs')).toBeCloseTo((0.04 - 0.15 + 0.25 - 0.3) / 2, 9);
    expect(column(row, 'groupTurnsLeadDb')).toBeCloseTo((3 - 8 + 10 - 12) / 2, 9);
    expect(column(row, 'groupGapMs')).toBeCloseTo(0.11, 9);
  });

  it('are not compared with what came before or after them only: the bird may have moved', () => {
    const moved = [...Array.from({ length: 4 }, (_, k) => sound(k, first, [-40, -48, -52])), ...Array.from({ length: 4 }, (_, k) => sound(10 + k, second, [-42, -45, -52]))];
    const describe = prepareGroupFeatures(moved, moved.map(() => 1), gains);
    moved.forEach((_, n) => expect(column(describe(n), 'groupCount')).toBe(1));
  });

  it('are told apart from noise in the lags', () => {
    const shaky = Array.from({ length: 10 }, (_, k) => sound(k, [0, 0.15 + 0.004 * (k % 3), 0.3 - 0.003 * (k % 2)], [-40, -48, -52]));
    const describe = prepareGroupFeatures(shaky, shaky.map(() => 1), gains);
    shaky.forEach((_, n) => expect(column(describe(n), 'groupSounds')).toBeCloseTo(Math.log2(10), 12));
  });

  it('leave out what is surely no call, and what was said of a sound does not count for itself', () => {
    const odds = all.map((c) => (c.track === 1 ? 3 : Math.floor(c.onsetSec) % 2 === 0 ? -2 : 2));
    const describe = prepareGroupFeatures(all, odds, gains);
    all.forEach((c, n) => {
      if (Math.floor(c.onsetSec) % 2 === 0) { expect(column(describe(n), 'groupSounds')).toBe(0); return; }
      expect(column(describe(n), 'groupOwnOdds')).toBe(c.track === 1 ? 3 : 2);
      expect(column(describe(n), 'groupRivalOdds')).toBe(c.track === 1 ? 2 : 3);
    });
  });

  it('are zeros where no other track heard the sound from near, or by echoes only', () => {
    const far = makeCandidate(3, { track: 0, onsetSec: 0, offsetSec: 0.1, lagSec: Float64Array.from([0, 4e-3, 5e-3]), agreementZ: Float64Array.from([40, 40, 40]), agreement: Float64Array.from([1, 0.9, 0.9]) });
    const echoed = makeCandidate(3, { track: 0, onsetSec: 1, offsetSec: 1.1, lagSec: Float64Array.from([0, 2e-4, 4e-3]), agreementZ: Float64Array.from([40, 40, 40]), agreement: Float64Array.from([1, 0.3, 0.9]) });
    const describe = prepareGroupFeatures([far, echoed], [1, 1], gains);
    for (const n of [0, 1]) expect(describe(n)).toEqual(GROUP_FEATURES.map(() => 0));
  });

  it('compare what was heard by both on tracks that surely heard both, the own track of the other sound included', () => {
    // Of a sound of the second bird with those of the first: on the second track 0.11 ms earlier and 5 dB more than the other bird's, on the third 0.05 ms and 2 dB.
    const deaf = { agreementZ: Float64Array.from([40, 40, 5]) }, lost = { lostShare: Float64Array.from([0, 0, 0.4]) }, low = { tiltDb: Float64Array.from([6, 2, 1]) };
    const compare = (parts: readonly [Partial<Candidate>, Partial<Candidate>], other = first, track = 0): number[] => {
      const sounds = Array.from({ length: 6 }, (_, k) => ({ ...(k % 2 === 0 ? sound(k, other, [-40, -48, -52]) : sound(k, second, [-42, -45, -52], track)), ...parts[k % 2] }));
      const row = prepareGroupFeatures(sounds, sounds.map(() => 1), gains)(3);
      return (['groupTurnsLagMs', 'groupTurnsLeadDb', 'groupTurnsTiltDb'] as const).map((name) => column(row, name));
    };
    const expectClose = (got: number[], want: number[]): void => want.forEach((v, k) => expect(got[k]).toBeCloseTo(v, 9));
    expectClose(compare([{}, {}]), [-0.08, -3.5, 0]);
    expectClose(compare([{}, low]), [-0.08, -3.5, 4.5]);
    for (const parts of [[deaf, {}], [{}, deaf], [lost, {}], [{}, lost]] as const) expectClose(compare(parts), [-0.11, -5, 0]);
    // Cut on the second track, and compared with a sound cut on the first, which agrees with nothing there: by 0.05 ms and 5 dB against the first, by nothing and 3 dB against the third.
    expectClose(compare([{ agreementZ: Float64Array.from([0, 40, 40]) }, {}], [0, 0.09, 0.3], 1), [0.025, 4, 0]);
  });
});

describe('sounds that count', () => {
  const place = [0, 0.15, 0.3], levels = [-40, -48, -52];
  const countSounds = (times: readonly number[]): number[] => {
    const sounds = times.map((t) => sound(t, place, levels)), describe = prepareGroupFeatures(sounds, sounds.map(() => 1), gains);
    return sounds.map((_, n) => 2 ** column(describe(n), 'groupSounds')).map((v) => Math.round(v * 1e6) / 1e6);
  };

  it('are those within half a minute before and after, at any time of day', () => {
    const times = [0, 10, 20, 30, 40, 50, 60], counts = [3, 4, 5, 5, 5, 4, 3];
    expect(countSounds(times)).toEqual(counts);
    expect(countSounds(times.map((t) => 40_000 + t))).toEqual(counts);
  });

  it('are the nearest 24 on either side where there are more', () => {
    expect(countSounds(Array.from({ length: 61 }, (_, k) => 0.3 * k))).toEqual(Array.from({ length: 61 }, (_, k) => 1 + Math.min(24, k) + Math.min(24, 60 - k)));
  });
});
