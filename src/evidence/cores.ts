import { cutSegments, type Segment, type SegmentRules } from './segments.js';

/** What stands out of a segment by so much of its peak is a core, if it begins so much later or lasts a smaller share of it than this. */
const CORE_BELOW_PEAK_DB = 9;
const CORE_LATER_SEC = 0.04;
const CORE_SHARE = 0.4;

/**
 * Cores of segments: calls that other sound of their own track, a wing or a bill, leads into or follows. Where a segment is a call and nothing else, its core is as long.
 * @param level level over time of the track, dB over the floor, one value per frame @param plain what was cut by `rules`
 */
export function cutCores(track: number, level: Float32Array, plain: readonly Segment[], rules: SegmentRules, hopSec: number): Segment[] {
  const later = Math.round(CORE_LATER_SEC / hopSec);
  const isInside = (a: Segment, b: Segment): boolean => a.startFrame >= b.startFrame && a.endFrame <= b.endFrame;
  const differs = (a: Segment, b: Segment): boolean => a.startFrame - b.startFrame >= later || a.endFrame - a.startFrame < CORE_SHARE * (b.endFrame - b.startFrame);
  const cores = cutSegments(track, level, { ...rules, belowPeakDb: CORE_BELOW_PEAK_DB }).filter((a) => plain.some((b) => isInside(a, b) && differs(a, b)));
  for (const segment of cores) segment.core = true;
  return cores;
}
