/**
 * Deterministic random numbers: sfc32 (public-domain generator of C. Doty-Humphrey, 2010) seeded through a 32-bit
 * string/number hash. Every use of chance in the simulator draws from a named fork, so that adding a draw in one place
 * never changes another.
 */

/** Mixes a seed and a label into 32 bits (FNV-1a over the label, finished with the MurmurHash3 finaliser). */
export function hashLabel(seed: number, label: string): number {
  let h = (0x811c9dc5 ^ seed) >>> 0;
  for (let i = 0; i < label.length; i++) h = Math.imul(h ^ label.charCodeAt(i), 0x01000193) >>> 0;
  return mixBits(h);
}

/** MurmurHash3 32-bit finaliser: every input bit changes every output bit with probability near one half. */
export function mixBits(x: number): number {
  let h = x >>> 0;
  h = Math.imul(h ^ (h >>> 16), 0x85ebca6b);
  h = Math.imul(h ^ (h >>> 13), 0xc2b2ae35);
  return (h ^ (h >>> 16)) >>> 0;
}

const GAUSS_TABLE_BITS = 12;
let gaussTable: Float32Array | undefined;

/** Table of normal quantiles at (i + 0.5) / size: a fast source of white noise whose peak stays below four standard deviations. */
function getGaussTable(): Float32Array {
  if (!gaussTable) {
    const size = 1 << GAUSS_TABLE_BITS;
    const table = new Float32Array(size);
    let power = 0;
    for (let i = 0; i < size; i++) { const q = normalQuantile((i + 0.5) / size); table[i] = q; power += q * q; }
    const scale = 1 / Math.sqrt(power / size);
    for (let i = 0; i < size; i++) table[i] *= scale;
    gaussTable = table;
  }
  return gaussTable;
}

/** Normal quantile, Abramowitz and Stegun (1964) 26.2.23: error below 4.5e-4, plenty for noise. */
function normalQuantile(p: number): number {
  if (p > 0.5) return -normalQuantile(1 - p);
  const t = Math.sqrt(-2 * Math.log(p));
  return -(t - (2.515517 + 0.802853 * t + 0.010328 * t * t) / (1 + 1.432788 * t + 0.189269 * t * t + 0.001308 * t * t * t));
}

export class Random {
  private a: number;
  private b: number;
  private c: number;
  private d = 1;
  private spare: number | undefined;

  constructor(readonly seed: number) {
    this.a = mixBits(seed ^ 0x9e3779b9);
    this.b = mixBits(this.a + 0x6a09e667);
    this.c = mixBits(this.b + 0xbb67ae85);
    for (let i = 0; i < 12; i++) this.uint32();
  }

  /** An independent stream for one purpose. */
  fork(label: string): Random { return new Random(hashLabel(this.seed, label)); }

  /** Next 32 random bits. */
  uint32(): number {
    const t = (this.a + this.b + this.d) | 0;
    this.d = (this.d + 1) | 0;
    this.a = this.b ^ (this.b >>> 9);
    this.b = (this.c + (this.c << 3)) | 0;
    this.c = ((this.c << 21) | (this.c >>> 11)) + t | 0;
    return t >>> 0;
  }

  /** Uniform in [0, 1). */
  next(): number { return this.uint32() / 4294967296; }

  /** Uniform in [low, high). */
  range(low: number, high: number): number { return low + (high - low) * this.next(); }

  /** Log-uniform in [low, high). */
  logRange(low: number, high: number): number { return low * Math.exp(Math.log(high / low) * this.next()); }

  /** Whole number in [low, high]. */
  whole(low: number, high: number): number { return low + Math.floor((high - low + 1) * this.next()); }

  chance(probability: number): boolean { return this.next() < probability; }

  pick<T>(items: readonly T[]): T { return items[Math.floor(this.next() * items.length)]; }

  /** Index drawn with the given weights (not all zero). */
  pickWeighted(weights: readonly number[]): number {
    let total = 0;
    for (const w of weights) total += w;
    let x = this.next() * total;
    for (let i = 0; i < weights.length; i++) { x -= weights[i]; if (x < 0) return i; }
    return weights.length - 1;
  }

  /** Standard normal (Box-Muller). */
  gauss(): number {
    if (this.spare !== undefined) { const s = this.spare; this.spare = undefined; return s; }
    const r = Math.sqrt(-2 * Math.log(1 - this.next()));
    const phi = 2 * Math.PI * this.next();
    this.spare = r * Math.sin(phi);
    return r * Math.cos(phi);
  }

  /** Exponential waiting time with the given mean. */
  wait(mean: number): number { return -mean * Math.log(1 - this.next()); }

  /** Fills out with white noise of unit variance. */
  fillNoise(out: Float64Array): void {
    const table = getGaussTable(), mask = (1 << GAUSS_TABLE_BITS) - 1, n = out.length;
    let { a, b, c, d } = this;
    for (let i = 0; i < n; i += 2) {
      // uint32() written out: the state stays in registers.
      const t = (a + b + d) | 0;
      d = (d + 1) | 0;
      a = b ^ (b >>> 9);
      b = (c + (c << 3)) | 0;
      c = (((c << 21) | (c >>> 11)) + t) | 0;
      out[i] = table[t & mask];
      if (i + 1 < n) out[i + 1] = table[(t >>> 16) & mask];
    }
    this.a = a; this.b = b; this.c = c; this.d = d;
  }

  /** A shuffled copy. */
  shuffle<T>(items: readonly T[]): T[] {
    const out = items.slice();
    for (let i = out.length - 1; i > 0; i--) { const j = this.whole(0, i); const t = out[i]; out[i] = out[j]; out[j] = t; }
    return out;
  }
}

/** Times of a Poisson process in [fromSec, toSec). */
export function drawPoissonTimes(random: Random, perMin: number, fromSec: number, toSec: number): number[] {
  const times: number[] = [];
  if (perMin <= 0) return times;
  for (let t = fromSec + random.wait(60 / perMin); t < toSec; t += random.wait(60 / perMin)) times.push(t);
  return times;
}
