import { beforeAll, describe, expect, it } from 'vitest';
import { PlaneSpace } from '../../src/kernels/plane-space.js';
import { PathEngine } from '../../src/separate/path-system.js';
import { makeNoise, openKernels } from '../kernels/support.js';

const BINS = 30, FRAMES = 24, TAPS = 2;
interface Complex { re: number; im: number }

/** Normal equations of frames that a path of two taps made, with noise of variance 1 (re and im together), summed in plain loops. */
function observe(path: readonly Complex[], seed: number): { system: number; taps: Complex[][][]; heard: Complex[][] } {
  const noise = makeNoise(6 * FRAMES * BINS, seed), system = createSystem(), rows = space.k.f32(system, engine.systemValues), taps: Complex[][][] = [], heard: Complex[][] = [];
  const add = (row: number, b: number, x: Complex, v: Complex): void => { const i = 2 * row * space.width + b; rows[i] += x.re * v.re + x.im * v.im; rows[i + space.width] += x.re * v.im - x.im * v.re; };
  // Uniform over a width of 1 has the variance 1/12.
  const draw = (n: number): Complex => ({ re: Math.sqrt(6) * noise[2 * n], im: Math.sqrt(6) * noise[2 * n + 1] });
  for (let b = 0; b < BINS; b++) {
    taps.push([]); heard.push([]);
    for (let k = 0; k < FRAMES; k++) {
      const n = 3 * (b * FRAMES + k), z = [draw(n), draw(n + 1)], y = draw(n + 2);
      z.forEach((v, a) => { y.re += path[a].re * v.re - path[a].im * v.im; y.im += path[a].re * v.im + path[a].im * v.re; });
      taps[b].push(z); heard[b].push(y);
      for (let a = 0; a < TAPS; a++) for (let c = 0; c <= a + 1; c++) add((a * (a + 3)) / 2 + c, b, z[a], c > a ? y : z[c]);
    }
  }
  return { system, taps, heard };
}

/**
 * ln of the density of the observations over their density under noise alone, one frame after the other: each frame has a complex Gaussian
 * prediction from those before it (recursive least squares), a route that shares nothing with the closed form.
 */
function predictInTurn(taps: readonly Complex[][][], heard: readonly Complex[][], variance: number): number {
  let sum = 0;
  taps.forEach((frames, b) => {
    const mean = [{ re: 0, im: 0 }, { re: 0, im: 0 }];
    const cov = [[{ re: variance, im: 0 }, { re: 0, im: 0 }], [{ re: 0, im: 0 }, { re: variance, im: 0 }]];
    frames.forEach((z, k) => {
      const y = heard[b][k], e = { ...y }, g = [0, 1].map((a) => z.reduce((s, v, c) => ({ re: s.re + cov[a][c].re * v.re + cov[a][c].im * v.im, im: s.im + cov[a][c].im * v.re - cov[a][c].re * v.im }), { re: 0, im: 0 }));
      z.forEach((v, a) => { e.re -= mean[a].re * v.re - mean[a].im * v.im; e.im -= mean[a].re * v.im + mean[a].im * v.re; });
      const s = 1 + z.reduce((t, v, a) => t + v.re * g[a].re - v.im * g[a].im, 0);
      sum += y.re ** 2 + y.im ** 2 - (e.re ** 2 + e.im ** 2) / s - Math.log(s);
      for (let a = 0; a < 2; a++) {
        mean[a].re += (g[a].re * e.re - g[a].im * e.im) / s; mean[a].im += (g[a].re * e.im + g[a].im * e.re) / s;
        for (let c = 0; c < 2; c++) { cov[a][c].re -= (g[a].re * g[c].re + g[a].im * g[c].im) / s; cov[a][c].im -= (g[a].im * g[c].re - g[a].re * g[c].im) / s; }
      }
    });
  });
  return sum;
}

const here = [{ re: 0.7, im: 0.2 }, { re: -0.3, im: 0.4 }], there = [{ re: -0.5, im: 0.5 }, { re: 0.2, im: 0.3 }];
let space: PlaneSpace, engine: PathEngine, prior: number;
beforeAll(async () => {
  space = new PlaneSpace(await openKernels(1 << 20), BINS);
  engine = new PathEngine(space, { tapCount: TAPS, leadTaps: 1 });
  prior = space.k.alloc(8 * TAPS * space.width);
  space.k.f64(prior, TAPS * space.width).fill(0.5);
});
const evidence = (...s: number[]): number => engine.weigh(s, prior);

/** A system of nothing. */
function createSystem(): number {
  const system = engine.createSystem();
  space.k.f32(system, engine.systemValues).fill(0);
  return system;
}

describe('evidence for one path', () => {
  it('is the density of the observations under the model over that under noise alone', () => {
    const { system, taps, heard } = observe(here, 3);
    // Sums of 24 products in float32.
    expect(evidence(system)).toBeCloseTo(predictInTurn(taps, heard, 0.5), 2);
  });

  it('of two systems is that of their sum, and counts bins by its step', () => {
    const a = observe(here, 4), b = observe(there, 5).system, sum = createSystem();
    engine.add(sum, a.system); engine.add(sum, b);
    expect(evidence(a.system, b)).toBe(evidence(sum));
    const every = a.taps.map((_, n) => n).filter((n) => n % 3 === 0);
    // Sums of 24 products in float32.
    expect(engine.weigh([a.system], prior, 3)).toBeCloseTo(predictInTurn(every.map((n) => a.taps[n]), every.map((n) => a.heard[n]), 0.5), 2);
  });

  it('puts calls from one place together and keeps those from two apart', () => {
    for (let seed = 10; seed < 40; seed += 3) {
      const mark = space.k.mark(), a = observe(here, seed).system, b = observe(here, seed + 1).system, c = observe(there, seed + 2).system;
      expect(evidence(a, b)).toBeGreaterThan(evidence(a) + evidence(b));
      expect(evidence(a, c)).toBeLessThan(evidence(a) + evidence(c));
      space.k.release(mark);
    }
  });

  it('is 0 without observations', () => {
    expect(evidence(createSystem())).toBeCloseTo(0, 9);
  });
});
