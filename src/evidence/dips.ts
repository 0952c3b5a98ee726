import { copySegment, type Segment, type SegmentRules } from './segments.js';

/** A dip of the level this far below the peaks on both sides may part two sounds that have been bridged. */
const DIP_DB = 10;

/**
 * The two sides of the deepest dip of every segment: sounds of one track that follow each other within a few milliseconds, a bill on feathers and a call.
 * Where the dip is within one call, the segment as a whole stands beside them.
 * @param level level over time of the track, dB over the floor, one value per frame @param plain what was cut by `rules`
 */
export function cutAtDips(level: Float32Array, plain: readonly Segment[], rules: SegmentRules): Segment[] {
  const out: Segment[] = [];
  for (const whole of plain) {
    const dip = findDip(level, whole.startFrame, whole.endFrame);
    if (dip < 0) continue;
    for (const [from, to] of [[whole.startFrame, dip], [dip + 1, whole.endFrame]]) {
      const part = cutBetween(level, from, to, whole, rules);
      if (part) out.push(part);
    }
  }
  return out;
}

/** The frame that lies farthest below the peaks on both sides, or -1 where none lies `DIP_DB` below. */
function findDip(level: Float32Array, from: number, to: number): number {
  const later = new Float32Array(to - from);
  for (let t = to - 1, peak = -Infinity; t >= from; t--) { later[t - from] = peak; peak = Math.max(peak, level[t]); }
  let best = -1, depth = DIP_DB;
  for (let t = from, peak = -Infinity; t < to; t++) {
    const below = Math.min(peak, later[t - from]) - level[t];
    if (below >= depth) { best = t; depth = below; }
    peak = Math.max(peak, level[t]);
  }
  return best;
}

/** What of [from, to) reaches within the rules' depth of its own peak; nothing where that is too short. */
function cutBetween(level: Float32Array, from: number, to: number, whole: Segment, rules: SegmentRules): Segment | undefined {
  let peakFrame = from;
  for (let t = from; t < to; t++) if (level[t] > level[peakFrame]) peakFrame = t;
  const low = Math.max(rules.keepDb, level[peakFrame] - rules.belowPeakDb);
  let startFrame = from, endFrame = to;
  while (startFrame < peakFrame && level[startFrame] < low) startFrame++;
  while (endFrame > peakFrame + 1 && level[endFrame - 1] < low) endFrame--;
  if (level[peakFrame] < rules.triggerDb || endFrame - startFrame < rules.leastFrames) return undefined;
  const part = copySegment(whole);
  Object.assign(part, { startFrame, endFrame, peakFrame, peakDb: level[peakFrame], core: true });
  return part;
}
