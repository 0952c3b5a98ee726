/** Plain references in f64: peak between the samples. */

/** Offset of the vertex of the parabola through three values. */
export function referenceParabola(before: number, at: number, after: number): number {
  return (0.5 * (before - after)) / (before - 2 * at + after);
}

/** Offset of the crest of the cosine through three values. */
export function referenceCosine(before: number, at: number, after: number): number {
  const w = Math.acos((before + after) / (2 * at));
  return Math.atan((after - before) / (2 * at * Math.sin(w))) / w;
}
