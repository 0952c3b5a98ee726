import { describe, expect, it } from 'vitest';
import { SmallFft } from '../../src/evidence/small-fft.js';
import { Correlator } from '../../src/model/correlator.js';
import { makeRandom } from './clock-synthetic.js';

const draw = (count: number, seed: number): Float64Array => { const { gauss } = makeRandom(seed); return Float64Array.from({ length: count }, gauss); };

describe('cross-correlation through the transform', () => {
  it.each([[1, 1], [2, 5], [17, 40], [100, 100], [333, 1000]])('of %i and %i values is what a plain loop gives', (na, nb) => {
    const a = draw(na, na);
    const b = draw(nb, nb + 7);
    const got = new Correlator(na + nb).correlate(a, b, nb);
    for (let k = 0; k < nb; k++) {
      let sum = 0;
      for (let n = 0; n < na && n + k < nb; n++) sum += a[n] * b[n + k];
      expect(Math.abs(got[k] - sum)).toBeLessThan(1e-11 * Math.sqrt(na * nb));
    }
  });

  it('has its peak where the second series runs late', () => {
    const a = draw(500, 3);
    const b = new Float64Array(900);
    b.set(a, 321);
    const r = new Correlator(1400).correlate(a, b, 900);
    expect(r.indexOf(Math.max(...r))).toBe(321);
    expect(Math.max(...r)).toBeCloseTo(a.reduce((s, v) => s + v * v, 0), 9);
  });

  it('can be used again: nothing of the last call stays', () => {
    const c = new Correlator(64);
    const first = c.correlate(draw(20, 1), draw(30, 2), 30);
    c.correlate(draw(30, 8), draw(30, 9), 30);
    expect(c.correlate(draw(20, 1), draw(30, 2), 30)).toEqual(first);
  });
});

it.each([1, 2, 8, 64])('the small transform of %i points is the inverse sum', (size) => {
  const re = draw(size, 5);
  const im = draw(size, 6);
  const gotRe = re.slice();
  const gotIm = im.slice();
  new SmallFft(size).inverse(gotRe, gotIm);
  for (let n = 0; n < size; n++) {
    let a = 0;
    let b = 0;
    for (let k = 0; k < size; k++) {
      const angle = (2 * Math.PI * ((k * n) % size)) / size;
      a += re[k] * Math.cos(angle) - im[k] * Math.sin(angle);
      b += re[k] * Math.sin(angle) + im[k] * Math.cos(angle);
    }
    expect(Math.abs(gotRe[n] - a)).toBeLessThan(1e-12 * size);
    expect(Math.abs(gotIm[n] - b)).toBeLessThan(1e-12 * size);
  }
});
