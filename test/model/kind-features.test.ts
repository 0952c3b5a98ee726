import { describe, expect, it } from 'vitest';
import type { Candidate } from '../../src/evidence/candidate.js';
import { collectTemplates, findNear } from '../../src/model/templates.js';
import type { GainFit } from '../../src/model/fit-gains.js';
import { KIND_FEATURES, prepareKindFeatures } from '../../src/model/kind-features.js';
import { makeCandidate } from './make-candidate.js';

const gains: GainFit = { gainDb: new Float64Array(2), scaleDb: 1, leadCurveDb: Float64Array.from([7, 12, 17, 20]), observations: 100 };
type Row = Record<(typeof KIND_FEATURES)[number], number>;

function compare(candidates: readonly Candidate[], logOdds: readonly number[]): Row[] {
  const describe = prepareKindFeatures(candidates, logOdds, collectTemplates(candidates, logOdds, gains), findNear);
  return candidates.map((_, n) => describe(n)).map((x) => Object.fromEntries(KIND_FEATURES.map((name, k) => [name, x[k]])) as Row);
}
const call = (track: number, onsetSec: number, lengthSec: number, part: Partial<Candidate> = {}): Candidate => makeCandidate(2, { track, onsetSec, offsetSec: onsetSec + lengthSec, ...part });

describe('what kind of sound it is', () => {
  const sure = Array.from({ length: 10 }, (_, k) => call(k % 2, k, 0.2));

  it('is near for one more call, far for a click, by the distance as defined', () => {
    const rows = compare([...sure, call(0, 20, 0.2), call(0, 21, 0.0125), call(0, 22, 0.4)], [...sure.map(() => 3), 0, 0, 0]);
    expect(rows[10].kindToOwn).toBeCloseTo(0, 12);
    expect(rows[10].kindThird).toBeCloseTo(0, 12);
    expect(rows[10].shorterThanUsual).toBeCloseTo(0, 12);
    // Four octaves shorter: beyond the farthest. One octave longer, 0.4 of which count as one.
    expect(rows[11].kindToOwn).toBe(6);
    expect(rows[11].shorterThanUsual).toBeCloseTo(-4, 12);
    expect(rows[12].kindToOthers).toBeCloseTo(1 / 0.4, 12);
    expect(rows[12].longerThanUsual).toBeCloseTo(1, 12);
  });

  it('adds the squares of differences in pitch, make and spectrum', () => {
    const other = new Float64Array(16); other[3] = 1;
    const odd = call(1, 30, 0.2, { centroidHz: 6000, entropy: 0.68, timeEntropy: 0.84, bands: other });
    const [row] = compare([...sure, odd], [...sure.map(() => 3), 0]).slice(-1);
    expect(row.kindToOwn).toBeCloseTo(Math.min(6, Math.hypot(1 / 0.3, 1, 1, 0.75 / 0.15)), 9);
    const near = call(1, 30, 0.2, { centroidHz: 3000 * 2 ** 0.15, entropy: 0.64 });
    expect(compare([...sure, near], [...sure.map(() => 3), 0]).slice(-1)[0].kindToOwn).toBeCloseTo(Math.hypot(0.5, 0.5), 9);
  });

  it('says what other cuts of the same sound are: the whole, a part, a neighbour', () => {
    const whole = call(0, 40, 0.2), part = call(0, 40.05, 0.1), after = call(0, 40.21, 0.1), elsewhere = call(1, 40, 0.2);
    const rows = compare([...sure, whole, elsewhere, part, after], [...sure.map(() => 3), 1.5, -1, 0.5, 2.5]);
    expect(rows[12].containerLogOdds).toBe(1.5);
    expect(rows[12].containerShare).toBeCloseTo(0.5, 9);
    expect(rows[12].otherCutKind).toBeLessThan(-2);
    expect(rows[10].partLogOdds).toBe(0.5);
    expect(rows[10].partShare).toBeCloseTo(0.5, 9);
    expect(rows[10].abuttingLogOdds).toBe(2.5);
    expect(rows[10].abuttingMs).toBeCloseTo(10, 9);
    expect(rows[11]).toMatchObject({ containerLogOdds: -8, partLogOdds: -8, abuttingLogOdds: -8, abuttingMs: 60 });
  });

  it('says how even the elements of a string are that holds this one', () => {
    const trill = call(0, 40, 0.3, { elements: 4, unevenness: 0.1 }), element = call(0, 40, 0.04), song = call(0, 50, 0.3, { elements: 3, unevenness: 1.2 }), syllable = call(0, 50, 0.1), alone = call(0, 60, 0.1);
    const rows = compare([...sure, element, trill, song, syllable, alone], [...sure.map(() => 3), 0, 0, 0, 0, 0]);
    expect(rows[10]).toMatchObject({ containerUnevenness: 0.1, containerElements: 4 });
    expect(rows[13]).toMatchObject({ containerUnevenness: 1.2, containerElements: 3 });
    expect(rows[14]).toMatchObject({ containerUnevenness: 3, containerElements: 1 });
  });

  it('states plain values where nothing is sure yet', () => {
    const [row] = compare([call(0, 1, 0.1)], [0]);
    expect(row).toMatchObject({ shorterThanUsual: 0, longerThanUsual: 0, kindToOwn: 6, kindToOthers: 6, kindThird: 6, otherCutKind: 0 });
  });
});
