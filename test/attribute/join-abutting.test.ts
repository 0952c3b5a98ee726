import { describe, expect, it } from 'vitest';
import { joinAbutting } from '../../src/attribute/join-abutting.js';
import type { AttributedCall } from '../../src/attribute/attribution.js';

const call = (caller: number, onsetSec: number, offsetSec: number, probability: number, candidate = 0): AttributedCall =>
  ({ caller, candidate, onsetSec, offsetSec, probability, runnerUp: null, runnerUpProbability: 1 - probability });

describe('joinAbutting', () => {
  it('makes one call of parts that abut or overlap, with the probability of the surer part', () => {
    const joined = joinAbutting([call(0, 1, 1.05, 0.6, 4), call(0, 1.05, 1.2, 0.9, 7), call(0, 1.19, 1.3, 0.7, 9)]);
    expect(joined).toEqual([{ caller: 0, candidate: 7, onsetSec: 1, offsetSec: 1.3, probability: 0.9, runnerUp: null, runnerUpProbability: 1 - 0.9 }]);
  });

  it('leaves calls apart that another bird made, or that a silence parts', () => {
    const calls = [call(0, 1, 1.05, 0.6), call(1, 1.05, 1.2, 0.9), call(0, 1.062, 1.2, 0.9)];
    expect(joinAbutting(calls)).toEqual(calls);
  });

  it('joins a short part inside a long call without making it shorter, in any order of the rows', () => {
    const long = call(-1, 2, 2.5, 0.8), short = call(-1, 2.1, 2.2, 0.7);
    expect(joinAbutting([short, long])).toEqual([long]);
  });

  it('changes none of the rows it was given', () => {
    const rows = [call(0, 1, 1.05, 0.6), call(0, 1.05, 1.2, 0.9)];
    joinAbutting(rows);
    expect(rows[0].offsetSec).toBe(1.05);
  });
});
