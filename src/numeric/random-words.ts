/**
 * Seeded generator of random 32-bit words (xoshiro128**, Blackman & Vigna 2018; state filled by splitmix32). Integer arithmetic only, so
 * the sequence is the same on every machine.
 */
export class RandomWords {
  private readonly state = new Uint32Array(4);

  constructor(seed: number) {
    let s = seed >>> 0;
    for (let i = 0; i < 4; i++) {
      s = (s + 0x9e3779b9) >>> 0;
      let z = s;
      z = Math.imul(z ^ (z >>> 16), 0x21f0aaad);
      z = Math.imul(z ^ (z >>> 15), 0x735a2d97);
      this.state[i] = z ^ (z >>> 15);
    }
  }

  /** The next word, 0 to 2^32 - 1. */
  nextWord(): number {
    const s = this.state;
    const x = Math.imul(s[1], 5);
    const result = Math.imul((x << 7) | (x >>> 25), 9) >>> 0;
    const t = s[1] << 9;
    s[2] ^= s[0];
    s[3] ^= s[1];
    s[1] ^= s[2];
    s[0] ^= s[3];
    s[2] ^= t;
    s[3] = (s[3] << 11) | (s[3] >>> 21);
    return result;
  }

  /** Fills an array with the next words: the same as one by one, and a few times as fast. */
  fillWords(words: Uint32Array): void {
    let [a, b, c, d] = this.state;
    for (let i = 0; i < words.length; i++) {
      const x = Math.imul(b, 5);
      words[i] = Math.imul((x << 7) | (x >>> 25), 9);
      const t = b << 9;
      c ^= a;
      d ^= b;
      b ^= c;
      a ^= d;
      c ^= t;
      d = (d << 11) | (d >>> 21);
    }
    this.state.set([a, b, c, d]);
  }

  /** Uniform in [0, 1), multiples of 2^-32. */
  nextUnit(): number {
    return this.nextWord() / 4294967296;
  }

  /** Uniform integer in [0, limit), limit up to 2^32, without bias (rejection). */
  nextBelow(limit: number): number {
    const threshold = (4294967296 - (4294967296 % limit)) >>> 0;
    for (;;) {
      const word = this.nextWord();
      if (threshold === 0 || word < threshold) return word % limit;
    }
  }
}
