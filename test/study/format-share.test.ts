import { expect, it } from 'vitest';
import { formatFew, formatPercent } from '../../src/study/format-share.js';

it('shares and rates are written with two digits and without exponents', () => {
  expect([1, 0.999, 0.996, 0.9949, 0.98, 0.5, 0.123, 0.0995, 0.0123, 0.0005, 1e-5, 1e-9, 0].map(formatPercent)).toEqual(
    ['100 %', '99.9 %', '99.6 %', '99 %', '98 %', '50 %', '12 %', '10 %', '1.2 %', '0.050 %', '0.0010 %', '0.0001 %', '0 %'],
  );
  expect([3, 1.25, 99.6, 120, 12345, 1e6].map(formatFew)).toEqual(['3.0', '1.3', '100', '120', '12345', '1000000']);
});
