/** A stretch of time, seconds, half-open. */
export interface TimeInterval { onsetSec: number; offsetSec: number }

/** Intersection over union of two half-open intervals in seconds; 0 where they do not overlap. */
export function intersectionOverUnion(a: TimeInterval, b: TimeInterval): number {
  const common = Math.min(a.offsetSec, b.offsetSec) - Math.max(a.onsetSec, b.onsetSec);
  if (!(common > 0)) return 0;
  return common / (Math.max(a.offsetSec, b.offsetSec) - Math.min(a.onsetSec, b.onsetSec));
}
