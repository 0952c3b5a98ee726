/**
 * Natural logarithm and powers of two in f64, the same bits as those of src/numeric/elementary.ts: its operations in its order.
 *
 * lnOf: positive normal x only. pow2Of: NaN unless -1000 < x < 1000. Errors are a unit or two in the last place.
 * Source: series of the inverse hyperbolic tangent and of the exponential. Plain reference: src/numeric/elementary.ts.
 */

const LOG2E: f64 = 1.4426950408889634;
const LN2: f64 = 0.6931471805599453;
/** ln 2 in two parts: the first has 21 zero bits at its end. */
const LN2_HIGH: f64 = 0.6931471806019545;
const LN2_LOW: f64 = -4.2009150726810846e-11;
const ROOT2: f64 = 1.4142135623730951;

export function lnOf(x: f64): f64 {
  const bits = reinterpret<u64>(x);
  let exponent = <i32>(bits >> 52) - 1023;
  let m = reinterpret<f64>((bits & 0x000fffffffffffff) | 0x3ff0000000000000);
  if (m > ROOT2) {
    m *= 0.5;
    exponent++;
  }
  const f = m - 1;
  const s = f / (2 + f);
  const z = s * s;
  const square = 0.5 * f * f;
  let sum: f64 = 1.0 / 23.0;
  sum = sum * z + 1.0 / 21.0;
  sum = sum * z + 1.0 / 19.0;
  sum = sum * z + 1.0 / 17.0;
  sum = sum * z + 1.0 / 15.0;
  sum = sum * z + 1.0 / 13.0;
  sum = sum * z + 1.0 / 11.0;
  sum = sum * z + 1.0 / 9.0;
  sum = sum * z + 1.0 / 7.0;
  sum = sum * z + 1.0 / 5.0;
  sum = sum * z + 1.0 / 3.0;
  const mantissa = f - (square - s * (square + 2 * z * sum));
  return exponent == 0 ? mantissa : <f64>exponent * LN2_HIGH + (mantissa + <f64>exponent * LN2_LOW);
}

export function pow2Of(x: f64): f64 {
  if (!(abs(x) < 1000)) return NaN;
  const whole = roundUp(x);
  const half = <i32>whole >> 1;
  return expOf((x - whole) * LN2) * powerOfTwo(half) * powerOfTwo(<i32>whole - half);
}

/** e to the power x, |x| < 1. */
function expOf(x: f64): f64 {
  const k = roundUp(x * LOG2E);
  const r = x - k * LN2_HIGH - k * LN2_LOW;
  let sum: f64 = 1.0 / 1307674368000.0;
  sum = sum * r + 1.0 / 87178291200.0;
  sum = sum * r + 1.0 / 6227020800.0;
  sum = sum * r + 1.0 / 479001600.0;
  sum = sum * r + 1.0 / 39916800.0;
  sum = sum * r + 1.0 / 3628800.0;
  sum = sum * r + 1.0 / 362880.0;
  sum = sum * r + 1.0 / 40320.0;
  sum = sum * r + 1.0 / 5040.0;
  sum = sum * r + 1.0 / 720.0;
  sum = sum * r + 1.0 / 120.0;
  sum = sum * r + 1.0 / 24.0;
  sum = sum * r + 1.0 / 6.0;
  sum = sum * r + 1.0 / 2.0;
  const half = <i32>k >> 1;
  return (1 + (r + r * r * sum)) * powerOfTwo(half) * powerOfTwo(<i32>k - half);
}

// @ts-ignore: decorator
@inline
function powerOfTwo(exponent: i32): f64 {
  return reinterpret<f64>(<u64>(exponent + 1023) << 52);
}

/** To the next whole number, halves up. */
// @ts-ignore: decorator
@inline
export function roundUp(x: f64): f64 {
  const above = ceil(x);
  return above - 0.5 <= x ? above : above - 1;
}
