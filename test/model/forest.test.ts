import { describe, expect, it } from 'vitest';
import { LOST_FEATURES } from '../../src/attribute/lost-features.js';
import { UNTAGGED_FEATURES } from '../../src/attribute/untagged-features.js';
import { CALL_FEATURES } from '../../src/model/call-features.js';
import { CONTEXT_FEATURES } from '../../src/model/context-features.js';
import { joinTrees, readProbability, scoreForest, type Forest } from '../../src/model/forest.js';
import { firstForest } from '../../src/model/learned-first.js';
import { secondForest } from '../../src/model/learned-second.js';
import { lostForest } from '../../src/model/learned-lost.js';
import { ownForest } from '../../src/model/learned-own.js';
import { untaggedForest } from '../../src/model/learned-untagged.js';
import { untaggedAgainForest } from '../../src/model/learned-untagged-again.js';
import { UNTAGGED_AGAIN_FEATURES } from '../../src/attribute/untagged-context.js';

const shipped: [string, Forest, readonly string[]][] = [
  ['first', firstForest, CALL_FEATURES], ['second', secondForest, CONTEXT_FEATURES], ['own', ownForest, CONTEXT_FEATURES], ['untagged', untaggedForest, UNTAGGED_FEATURES], ['untagged again', untaggedAgainForest, UNTAGGED_AGAIN_FEATURES], ['lost', lostForest, LOST_FEATURES],
];

describe('a forest', () => {
  // x0 < 1 ? (x1 < 5 ? 10 : 20) : 30, and a stump on x1.
  const forest: Forest = {
    features: ['a', 'b'], bias: 0.5, calibration: { from: [], to: [] },
    ...joinTrees([
      { feature: [0, 1, -1, -1, -1], threshold: [1, 5, 0, 0, 0], left: [1, 3, 0, 0, 0], value: [0, 0, 30, 10, 20] },
      { feature: [1, -1, -1], threshold: [2, 0, 0], left: [1, 0, 0], value: [0, 100, 200] },
    ]),
  };

  it('adds the leaves that a vector falls into; a value at the threshold goes up', () => {
    expect(scoreForest(forest, [0, 0])).toBe(110.5);
    expect(scoreForest(forest, [0.999, 5])).toBe(220.5);
    expect(scoreForest(forest, [1, 1.9])).toBe(130.5);
    expect(scoreForest(forest, [7, 2])).toBe(230.5);
  });

  it('without calibration gives the logistic of the log-odds, kept within 0.0005 of 0 and 1', () => {
    expect(readProbability(forest, 0)).toBe(0.5);
    for (const z of [-6, -1.3, 0.2, 4]) expect(readProbability(forest, z)).toBeCloseTo(1 / (1 + Math.exp(-z)), 14);
    expect(readProbability(forest, 50)).toBe(0.9995);
    expect(readProbability(forest, -800)).toBe(0.0005);
  });

  it('is calibrated along its knots, straight between them, level beyond', () => {
    const calibrated = { ...forest, calibration: { from: [-2, 0, 3], to: [-1, 1, 1.5] } };
    const odds = (z: number): number => { const p = readProbability(calibrated, z); return Math.log(p / (1 - p)); };
    for (const [z, expected] of [[-9, -1], [-2, -1], [-1, 0], [0, 1], [1.5, 1.25], [3, 1.5], [99, 1.5]]) expect(odds(z)).toBeCloseTo(expected, 12);
  });
});

describe.each(shipped)('the shipped forest %s', (_, forest, features) => {
  it('knows its features by name and in order', () => {
    expect(forest.features).toEqual([...features]);
  });

  it('holds trees that end: children lie behind their parent, features and numbers exist', () => {
    const { roots, links, numbers } = forest;
    expect(roots.length).toBeGreaterThan(10);
    expect(links.length).toBe(2 * numbers.length);
    roots.forEach((root, t) => {
      const end = t + 1 < roots.length ? roots[t + 1] : numbers.length, reached = new Set([root]);
      for (let n = root; n < end; n++) {
        const feature = links[2 * n], left = links[2 * n + 1];
        if (!reached.has(n) || !Number.isFinite(numbers[n]) || feature >= features.length) throw new Error(`node ${n} of tree ${t} is not sound`);
        if (feature < 0) continue;
        if (!(left > n && left + 1 < end)) throw new Error(`the children of node ${n} of tree ${t} lie outside`);
        reached.add(left).add(left + 1);
      }
    });
  });

  it('gives probabilities that rise with the log-odds and stay inside', () => {
    let last = 0;
    for (let z = -30; z <= 30; z += 0.01) {
      const p = readProbability(forest, z);
      expect(p).toBeGreaterThanOrEqual(last);
      last = p;
    }
    expect(readProbability(forest, -1e9)).toBeGreaterThanOrEqual(0.0005);
    expect(readProbability(forest, 1e9)).toBeLessThanOrEqual(0.9995);
    // A step, not a constant: surely no and surely yes exist.
    expect(readProbability(forest, -30)).toBeLessThan(0.2);
    expect(last).toBeGreaterThan(0.6);
  });
});
