import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { cosTurn, exp, hypot, ln, log10, log2, pow10, pow2, sinTurn } from '../../src/numeric/elementary.js';

/** Distance in units in the last place of `expected`. */
function countUlps(value: number, expected: number): number {
  const bits = new BigInt64Array(Float64Array.of(value, expected).buffer);
  return Number(bits[0] > bits[1] ? bits[0] - bits[1] : bits[1] - bits[0]);
}

// Computed with 60 decimal digits (Python's decimal module: ln, log10, exp, power; cosine by its Taylor series) and rounded once.
const ARGUMENTS = [0.1, 0.9999, 1.0001, 2.5, 1000, 123456.789, 1e-12, 3e200];
const TABLE: [string, (x: number) => number, number[], number[], number][] = [
  ['ln', ln, ARGUMENTS, [-2.3025850929940455, -0.00010000500033334732, 9.999500033329732e-05, 0.9162907318741551, 6.907755278982137, 11.723646487185881, -27.631021115928547, 461.61563088747727], 1],
  ['log10', log10, ARGUMENTS, [-1.0, -4.3431619807505604e-05, 4.342727686266486e-05, 0.3979400086720376, 3.0, 5.09151497716927, -12.0, 200.47712125471966], 2],
  ['log2', log2, ARGUMENTS, [-3.321928094887362, -0.00014427671804501932, 0.0001442622910945383, 1.3219280948873624, 9.965784284662087, 16.913646648198387, -39.86313713864835, 665.9705814781936], 2],
  ['exp', exp, [-700, -20.25, -1, -0.001, 0.3, 1, 50.5, 700], [9.85967654375977e-305, 1.6052280551856116e-09, 0.36787944117144233, 0.999000499833375, 1.3498588075760032, 2.718281828459045, 8.548134287298057e+21, 1.0142320547350045e+304], 1],
  ['pow10', pow10, [-12.3, -0.5, -0.1, 0.05, 0.30103, 2.5, 20.75], [5.011872336272715e-13, 0.31622776601683794, 0.7943282347242815, 1.1220184543019633, 2.0000000199681045, 316.22776601683796, 5.6234132519034906e+20], 4],
  ['pow2', pow2, [-1022.5, -12.3, -0.5, -0.1, 0.05, 0.3010299956639812, 2.5, 20.75, 1023.5], [1.5733648139913585e-308, 0.00019830380770415897, 0.7071067811865476, 0.9330329915368074, 1.0352649238413776, 1.2320236886890061, 5.656854249492381, 1763487.5990421579, 1.2711610061536464e+308], 2],
  ['cosTurn', cosTurn, [0.0625, 0.2, 0.3, 0.4375, 0.6, 0.9, 1.3, -0.7], [0.9238795325112867, 0.30901699437494734, -0.30901699437494734, -0.9238795325112867, -0.8090169943749475, 0.8090169943749475, -0.3090169943749477, -0.3090169943749477], 2],
  ['sinTurn', sinTurn, [0.0625, 0.2, 0.3, 0.4375, 0.6, 0.9, 1.3, -0.7], [0.3826834323650898, 0.9510565162951536, 0.9510565162951536, 0.3826834323650898, -0.587785252292473, -0.587785252292473, 0.9510565162951535, 0.9510565162951535], 2],
];

/** Found with two versions of V8 on x86-64; whoever changes a function changes this number. */
const PINNED = -357025296;

describe('elementary functions', () => {
  it.each(TABLE)('%s is true to a few units in the last place', (_, f, xs, expected, most) => {
    xs.forEach((x, k) => expect(countUlps(f(x), expected[k]), `at ${x}`).toBeLessThanOrEqual(most));
  });

  it('keeps what must be exact', () => {
    expect([ln(1), log2(8), log2(2 ** -1040), log10(1), exp(0), pow10(0), pow10(3), pow10(-1), pow2(10), pow2(-1074), hypot(3, 4), cosTurn(0), cosTurn(0.5), cosTurn(0.25), sinTurn(0.25), sinTurn(0.75)])
      .toEqual([0, 3, -1040, 0, 1, 1, 1000, 0.1, 1024, 5e-324, 5, 1, -1, 0, 1, -1]);
  });

  it('follows Math at the ends of the numbers', () => {
    for (const x of [0, -1, NaN, Infinity, -Infinity, 5e-324, Number.MAX_VALUE]) {
      if (Number.isFinite(Math.log(x))) expect(countUlps(ln(x), Math.log(x)), `ln ${x}`).toBeLessThanOrEqual(2);
      else expect(ln(x), `ln ${x}`).toBe(Math.log(x));
      if (!Number.isFinite(Math.log(x))) expect([log2(x), log10(x)], `log2 and log10 of ${x}`).toEqual([Math.log2(x), Math.log10(x)]);
    }
    expect([exp(Infinity), exp(-Infinity), exp(NaN), exp(710), exp(-746), pow10(309), pow10(-325), pow10(NaN), pow2(1024), pow2(-1080), pow2(NaN)])
      .toEqual([Infinity, 0, NaN, Infinity, 0, Infinity, 0, NaN, Infinity, 0, NaN]);
    expect(exp(-745)).toBe(5e-324);
  });

  it('gives the bits that it gives everywhere', () => {
    let hash = 0;
    const words = new Uint32Array(2);
    const double = new Float64Array(words.buffer);
    for (let k = 1; k <= 20000; k++) {
      const x = ((k * 2654435761) % 4294967296) / 4294967296;
      for (const value of [ln(x), log2(1000 * x), log10(x), exp(40 * x - 20), pow10(20 * x - 10), pow2(60 * x - 30), cosTurn(x), sinTurn(3 * x)]) {
        double[0] = value;
        hash = (Math.imul(hash, 31) + words[0]) | 0;
        hash = (Math.imul(hash, 31) + words[1]) | 0;
      }
    }
    expect(hash).toBe(PINNED);
  });
});

describe('from sound to table', () => {
  const source = fileURLToPath(new URL('../../src/', import.meta.url));
  const files = ['evidence', 'model', 'attribute', 'pipeline'].flatMap((layer) => readdirSync(join(source, layer)).filter((n) => n.endsWith('.ts')).map((n) => join(layer, n)));
  // ECMAScript 2024, 21.3.2 and 6.1.6.1.3: "implementation-approximated". A square, and 2 to a whole power, come out the same everywhere.
  const loose = /\bMath\.(a?sinh?|a?cosh?|a?tanh?|atan2|exp|expm1|log|log2|log10|log1p|pow|cbrt|hypot)\(|(?<!\b2) \*\* (?!2\b)|\b2 \*\* (?!Math\.(round|ceil|floor)\(|\d+\b)/;

  it('no engine decides the last digit', () => {
    expect(files.length).toBeGreaterThan(30);
    const found = files.flatMap((file) => readFileSync(join(source, file), 'utf8').split('\n')
      .map((line, k) => ({ line: line.replace(/\/\/.*|^\s*\/?\*.*/, ''), where: `${file}:${k + 1}` })).filter((l) => loose.test(l.line)).map((l) => `${l.where} ${l.line.trim()}`));
    expect(found).toEqual([]);
  });
});
