/** Plain references of what a spectrum and a course in time are like. The logarithm may be another than the engine's. */
export function referenceSpectrum(
  spectrum: ArrayLike<number>, first: number, end: number, places: ArrayLike<number>, ln: (x: number) => number = Math.log,
): { numbers: number[]; bands: number[] } {
  let sum = 0, top = 0, peak = first, moment = 0;
  for (let b = first; b < end; b++) {
    sum += spectrum[b];
    moment += b * spectrum[b];
    if (spectrum[b] > top) { top = spectrum[b]; peak = b; }
  }
  const total = Math.max(1e-30, sum), centroid = moment / total;
  const bands = Array<number>(16).fill(0);
  let entropy = 0, spread = 0;
  for (let b = first; b < end; b++) {
    const q = spectrum[b] / total;
    if (q > 0) entropy -= q * ln(q);
    spread += q * ((b - centroid) * (b - centroid));
    bands[places[b - first]] += spectrum[b];
  }
  return { numbers: [sum, top, peak, centroid, entropy, spread], bands: bands.map((v) => Math.sqrt(v / total)) };
}

/** Sum, largest, largest of the first three, entropy. */
export function referenceCourse(x: ArrayLike<number>, ln: (x: number) => number = Math.log): number[] {
  const values = Array.from(x);
  let sum = 0, entropy = 0;
  for (const v of values) sum += v;
  if (sum > 0) for (const v of values) if (v > 0) entropy -= (v / sum) * ln(v / sum);
  return [sum, Math.max(0, ...values), Math.max(0, ...values.slice(0, 3)), entropy];
}
