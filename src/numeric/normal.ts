/**
 * Standard normal distribution function. Series for |z| < 3 (Abramowitz & Stegun 26.2.11), continued fraction beyond (26.2.14);
 * absolute error below 1e-14.
 */
export function normalCdf(z: number): number {
  if (Number.isNaN(z)) return NaN;
  const x = Math.abs(z);
  if (x > 38) return z > 0 ? 1 : 0;
  const density = Math.exp(-0.5 * x * x) / Math.sqrt(2 * Math.PI);
  if (x < 3) {
    let term = x;
    let sum = x;
    for (let k = 3; term > 1e-18 * sum; k += 2) {
      term *= (x * x) / k;
      sum += term;
    }
    return z >= 0 ? 0.5 + density * sum : 0.5 - density * sum;
  }
  let fraction = 0;
  for (let k = 120; k >= 1; k--) fraction = k / (x + fraction);
  const tail = density / (x + fraction);
  return z > 0 ? 1 - tail : tail;
}

/** Quantile of the standard normal distribution, by bisection of `normalCdf`; p in [0, 1], the ends give -Infinity and Infinity. */
export function normalQuantile(p: number): number {
  if (!(p >= 0 && p <= 1)) return NaN;
  if (p === 0) return -Infinity;
  if (p === 1) return Infinity;
  // By symmetry always in the lower tail, where the distribution function keeps its relative precision.
  if (p > 0.5) return -normalQuantile(1 - p);
  let low = -38;
  let high = 0;
  for (let i = 0; i < 80; i++) {
    const middle = (low + high) / 2;
    if (normalCdf(middle) < p) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
