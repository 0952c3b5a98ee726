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

  it.each([[2, 5], [40, 17], [100, 100]])('half whitened, of %i and %i values, is the plain sum over the divided cross spectrum', (na, nb) => {
    const a = draw(na, na + 1);
    const b = draw(nb, nb + 3);
    const size = 2 ** Math.ceil(Math.log2(na + nb));
    const got = new Correlator(na + nb).correlate(a, b, nb, true);
    const spectrum = (x: Float64Array, f: number): [number, number] => {
      let re = 0; let im = 0;
      x.forEach((v, n) => { re += v * Math.cos((2 * Math.PI * f * n) / size); im -= v * Math.sin((2 * Math.PI * f * n) / size); });
      return [re, im];
    };
    const cross = Array.from({ length: size }, (_, f) => {
      const [ar, ai] = spectrum(a, f);
      const [br, bi] = spectrum(b, f);
      const re = ar * br + ai * bi;
      const im = ar * bi - ai * br;
      const root = Math.sqrt(Math.hypot(re, im));
      return [re / root, im / root];
    });
    for (let k = 0; k < nb; k++) {
      const sum = cross.reduce((s, [re, im], f) => s + re * Math.cos((2 * Math.PI * f * k) / size) - im * Math.sin((2 * Math.PI * f * k) / size), 0) / size;
      expect(Math.abs(got[k] - sum)).toBeLessThan(1e-9);
    }
    expect(new Correlator(8).correlate(new Float64Array(4), new Float64Array(4), 4, true)).toEqual(new Float64Array(4));
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
