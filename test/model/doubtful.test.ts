import { describe, expect, it } from 'vitest';
import { findDoubtful, scoreDoubtful, SETTLED_LOG_ODDS } from '../../src/model/doubtful.js';
import { joinTrees, type Forest } from '../../src/model/forest.js';

/** 2 where the only feature is below 5, else -2. */
const forest: Forest = { features: ['x'], bias: 0, ...joinTrees([{ feature: [0, -1, -1], threshold: [5, 0, 0], left: [1, 0, 0], value: [0, 2, -2] }]), calibration: { from: [], to: [] } };

describe('candidates in doubt', () => {
  it('are those that no look was sure about to be no calls', () => {
    const z = [SETTLED_LOG_ODDS - 0.1, SETTLED_LOG_ODDS, 0, -9, 4];
    expect(findDoubtful(z)).toEqual([1, 2, 4]);
    expect(findDoubtful(z, [0, 2, 3, 4])).toEqual([2, 4]);
  });

  it('are looked at again, and no others: those keep what was said before', () => {
    const asked: number[] = [];
    const z = scoreDoubtful(forest, (n, row) => { asked.push(n); row[0] = n === 1 ? 3 : 7; }, new Float64Array(1), [1, 3], [-7, 1, -8, 1]);
    expect(asked).toEqual([1, 3]);
    expect([...z]).toEqual([-7, 2, -8, -2]);
  });
});
