/**
 * Logarithms, powers, sine and cosine that give the same bits on every machine. ECMAScript leaves the last digit of Math.log, Math.exp,
 * Math.sin and their kin to the engine, and engines differ; here stand only operations that IEEE 754 rounds in one way (+ - * / and
 * comparisons). Every decision between sound and table uses these. Errors are a unit or two in the last place, for powers of ten up to four.
 */

const LN10 = 2.302585092994046;
const LOG2E = 1.4426950408889634;
const LOG10E = 0.4342944819032518;
/** ln 2 in two parts: the first has 21 zero bits at its end, so that its product with a whole number up to 2^20 is exact. */
const LN2_HIGH = 0.6931471806019545;
const LN2_LOW = -4.2009150726810846e-11;
const TURN = 6.283185307179586;

const double = new Float64Array(1);
const words = new Uint32Array(double.buffer);
const HIGH = new Uint8Array(Uint32Array.of(1).buffer)[0] === 1 ? 1 : 0;
/** 1/3, 1/5, 1/7 ... of the inverse hyperbolic tangent; |s| is at most 0.1716, the first term left out is below 2^-58. */
const ATANH = Array.from({ length: 11 }, (_, n) => 1 / (2 * n + 3)).reverse();
const EXP = listInverseFactorials(2, 15, 1);
const COS = listInverseFactorials(2, 18, 2);
const SIN = listInverseFactorials(3, 19, 2);
const TENS = Array.from({ length: 633 }, (_, k) => Number(`1e${k - 324}`));

/** Natural logarithm; -Infinity of 0, NaN of a negative number. */
export function ln(x: number): number {
  if (!(x > 0) || x === Infinity) return x === 0 ? -Infinity : x === Infinity ? x : NaN;
  const exponent = split(x);
  const mantissaLog = lnOfMantissa(double[0]);
  return exponent === 0 ? mantissaLog : exponent * LN2_HIGH + (mantissaLog + exponent * LN2_LOW);
}

/** Logarithm to base 2; whole powers of two give whole numbers. */
export function log2(x: number): number {
  if (!(x > 0) || x === Infinity) return ln(x);
  const exponent = split(x);
  return exponent + lnOfMantissa(double[0]) * LOG2E;
}

/** Logarithm to base 10. */
export function log10(x: number): number {
  return ln(x) * LOG10E;
}

/** e to the power x. */
export function exp(x: number): number {
  if (!(x > -746)) return x <= -746 ? 0 : NaN;
  if (x > 709.79) return Infinity;
  const k = Math.round(x * LOG2E);
  const r = x - k * LN2_HIGH - k * LN2_LOW;
  // Two steps, for 2^k alone may lie outside the range of normal numbers.
  const half = k >> 1;
  return (1 + (r + r * r * sumPowers(EXP, r))) * powerOfTwo(half) * powerOfTwo(k - half);
}

/** 10 to the power x; exact for whole x from 0 to 22. */
export function pow10(x: number): number {
  if (!(x > -324)) return x <= -324 ? 0 : NaN;
  if (x > 308.3) return Infinity;
  const whole = Math.round(x);
  const rest = x - whole;
  return rest === 0 ? TENS[whole + 324] : TENS[whole + 324] * exp(rest * LN10);
}

/** 2 to the power x; exact for whole x. */
export function pow2(x: number): number {
  if (!(x > -1075)) return x <= -1075 ? 0 : NaN;
  if (x >= 1024) return Infinity;
  const whole = Math.round(x);
  const half = whole >> 1;
  return exp((x - whole) * Math.LN2) * powerOfTwo(half) * powerOfTwo(whole - half);
}

/** Length of the hypotenuse, for sides of ordinary size. */
export function hypot(x: number, y: number): number {
  return Math.sqrt(x * x + y * y);
}

/** Cosine of an angle in turns: 1 = a full circle. */
export function cosTurn(turns: number): number {
  const t = Math.abs(turns - Math.round(turns));
  if (t > 0.375) return -cosSmall(0.5 - t);
  return t < 0.125 ? cosSmall(t) : sinSmall(0.25 - t);
}

/** Sine of an angle in turns. */
export function sinTurn(turns: number): number {
  const t = turns - Math.round(turns);
  const size = Math.abs(t);
  const value = size > 0.375 ? sinSmall(0.5 - size) : size < 0.125 ? sinSmall(size) : cosSmall(0.25 - size);
  return t < 0 ? -value : value;
}

/** Taylor series up to an eighth of a turn. */
function cosSmall(turns: number): number {
  const z = (turns * TURN) ** 2;
  return 1 - z * sumPowers(COS, -z);
}

function sinSmall(turns: number): number {
  const x = turns * TURN;
  return x - x * x * x * sumPowers(SIN, -x * x);
}

/** Logarithm of a number between sqrt(1/2) and sqrt(2): 2 atanh((m - 1) / (m + 1)), arranged so that the leading part is exact. */
function lnOfMantissa(m: number): number {
  const f = m - 1;
  const s = f / (2 + f);
  const z = s * s;
  const square = 0.5 * f * f;
  return f - (square - s * (square + 2 * z * sumPowers(ATANH, z)));
}

/** Leaves the mantissa, between sqrt(1/2) and sqrt(2), in `double[0]` and returns the exponent. */
function split(x: number): number {
  let shift = 0;
  double[0] = x;
  if (x < 2.2250738585072014e-308) {
    double[0] = x * 18014398509481984;
    shift = -54;
  }
  const high = words[HIGH];
  let exponent = (high >>> 20) - 1023 + shift;
  words[HIGH] = (high & 0xfffff) | 0x3ff00000;
  if (double[0] > Math.SQRT2) {
    double[0] *= 0.5;
    exponent++;
  }
  return exponent;
}

function powerOfTwo(exponent: number): number {
  words[HIGH] = (exponent + 1023) << 20;
  words[1 - HIGH] = 0;
  return double[0];
}

/** Horner: the first coefficient is that of the highest power. */
function sumPowers(coefficients: readonly number[], x: number): number {
  let sum = 0;
  for (let n = 0; n < coefficients.length; n++) sum = sum * x + coefficients[n];
  return sum;
}

/** 1/from!, 1/(from + step)! ... up to `to`, highest first. */
function listInverseFactorials(from: number, to: number, step: number): number[] {
  const list: number[] = [];
  let factorial = 1;
  for (let n = 1; n <= to; n++) {
    factorial *= n;
    if (n >= from && (n - from) % step === 0) list.unshift(1 / factorial);
  }
  return list;
}
