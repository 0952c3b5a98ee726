import { describe, expect, it } from 'vitest';
import { weighMatching } from '../../src/model/group-matching.js';

/** All ways to give groups to birds or to none, tried one by one: the least cost with the first group at `bird`, and without. */
function matchPlainly(costs: readonly (readonly number[])[], bird: number, none: number): number {
  let held = Infinity; let kept = Infinity;
  const go = (group: number, taken: readonly number[], sum: number, first: number): void => {
    if (group === costs.length) {
      if (first === bird) held = Math.min(held, sum); else kept = Math.min(kept, sum);
      return;
    }
    go(group + 1, taken, sum + none, group === 0 ? -1 : first);
    costs[group].forEach((cost, b) => { if (!taken.includes(b)) go(group + 1, [...taken, b], sum + cost, group === 0 ? b : first); });
  };
  go(0, [], 0, -1);
  return kept - held;
}

describe('matching groups with birds', () => {
  it('finds the least costs that a search through all matchings finds', () => {
    let state = 11;
    const draw = (): number => { state = (16807 * state) % 2147483647; return state / 2147483647; };
    for (let n = 0; n < 300; n++) {
      const birds = 1 + Math.floor(5 * draw()), groups = 1 + Math.floor(5 * draw());
      const costs = Array.from({ length: groups }, () => Array.from({ length: birds }, draw));
      const bird = Math.floor(birds * draw()), none = 0.2 + draw();
      expect(weighMatching(costs, bird, none).margin).toBeCloseTo(matchPlainly(costs, bird, none), 12);
    }
  });

  it('leaves a sound that is nearest to a bird with a nearer group of its own for the other bird', () => {
    // Paths to own microphones, in tenths of a millisecond: the second group is a little nearer to bird 0, the first group far nearer.
    const costs = [[0, 1.2], [0, 0.4]];
    // Held to bird 0, the second group leaves none for the first but the price of 1; kept from it, both are had for 0.4.
    expect(weighMatching([costs[1], costs[0]], 0, 1).margin).toBeCloseTo(0.4 - 1, 12);
    expect(weighMatching([costs[1], costs[0]], 1, 1).margin).toBeCloseTo(1 - 0.4, 12);
    expect(weighMatching(costs, 0, 1)).toEqual({ margin: 1 - 0.4, instead: 1 });
  });

  it('gives a group to no bird at the price of that', () => {
    expect(weighMatching([[0.7, 0.9]], 0, 0.3)).toEqual({ margin: 0.3 - 0.7, instead: -1 });
  });
});
