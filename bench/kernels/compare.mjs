// Whether two results are the same, before their speed is compared.

/** Largest difference over the root mean square of the reference. */
export function differenceOf(got, expected) {
  if (got.length !== expected.length) throw new Error(`results differ in length: ${got.length} and ${expected.length}`);
  let most = 0, energy = 0;
  for (let i = 0; i < got.length; i++) {
    // NaN must not pass as no difference.
    const d = Math.abs(got[i] - expected[i]);
    if (!(d <= most)) most = d;
    energy += expected[i] ** 2;
  }
  return most / Math.sqrt(energy / expected.length);
}

/** Throws where the results are further apart than `tolerance`; returns how far they are. */
export function requireSame(what, got, expected, tolerance) {
  const difference = differenceOf(got, expected);
  if (!(difference <= tolerance)) throw new Error(`${what}: not the same result, ${difference} of the root mean square apart, expected at most ${tolerance}`);
  return difference;
}
