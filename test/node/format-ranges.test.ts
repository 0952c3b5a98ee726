import { describe, expect, it } from 'vitest';
import { formatRanges } from '../../src/node/format-ranges.js';

describe('formatRanges', () => {
  it('joins neighbours, sorts and drops doubles', () => {
    expect(formatRanges([9, 3, 2, 5, 4, 3])).toBe('2-5,9');
    expect(formatRanges([1, 3])).toBe('1,3');
    expect(formatRanges([7])).toBe('7');
    expect(formatRanges([])).toBe('');
  });
});
