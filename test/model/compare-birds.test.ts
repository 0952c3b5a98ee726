import { describe, expect, it } from 'vitest';
import { compareBirds, type UsualCall } from '../../src/model/compare-birds.js';

const usual = (tilt: number, residual: number, strength: number, count = 9): UsualCall => ({ tilt, residual, strength, count });

describe('birds beside each other', () => {
  it('differ from the median of the others in low end, lead and strength', () => {
    const rows = compareBirds([usual(6, 1, -40), usual(5, 2, -42), usual(7, 3, -38), usual(-1, -4, -50)]);
    expect(rows[3]).toEqual([-7, -6, -10]);
    // Of three others the median; a bird is not among its own others.
    expect(rows[0]).toEqual([1, -1, 2]);
  });

  it('say nothing where sure calls are missing, of the bird or of all others', () => {
    expect(compareBirds([usual(6, 1, -40), usual(0, 0, 0, 0)])).toEqual([[0, 0, 0], [0, 0, 0]]);
    expect(compareBirds([usual(6, 1, -40, 1), usual(5, 2, -41, 2)])).toEqual([[0, 0, 0], [0, 0, 0]]);
    expect(compareBirds([usual(6, 1, -40, 1), usual(5, 2, -41, 3)])).toEqual([[1, -1, 1], [0, 0, 0]]);
    expect(compareBirds([])).toEqual([]);
  });
});
