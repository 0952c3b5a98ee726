import { log2 } from '../numeric/elementary.js';

/** A stretch of frames [startFrame, endFrame) of one track in which that track owns sound. */
export interface Segment {
  track: number;
  startFrame: number;
  endFrame: number;
  peakFrame: number;
  peakDb: number;
  /** Cut on the level over the pedestal of broadband noise (see pedestal.ts) instead of the plain owned level. */
  overPedestal: boolean;
  /** How many segments were joined into this one. */
  elements: number;
  /** How unlike the elements of a string are (see joinSegments), and the mean gap between them, frames; 0 of single stretches. */
  unevenness?: number;
  gapFrames?: number;
  /** Cut on sound that no track leads clearly (see shared.ts): nobody's own voice, perhaps a caller without a tag. */
  shared?: boolean;
  /** Only what lies within a few decibels of the peak: a call whose beginning or end is buried in other sound of its own track. */
  core?: boolean;
  /** The bins of another track's segment, looked at from this track (see twins.ts). */
  twin?: boolean;
}

export interface SegmentRules {
  /** A segment needs one frame above this level over the floor, dB. */
  triggerDb: number;
  /** It extends while above this level, dB. */
  keepDb: number;
  /** ... and above its own peak minus this, dB. */
  belowPeakDb: number;
  /** Gaps shorter than this many frames are bridged. */
  bridgeFrames: number;
  leastFrames: number;
}

/** A copy to be changed, with all fields in one order: objects of one shape cost the engine least, and compiled code is not thrown away for others. */
export function copySegment(s: Segment): Segment {
  return {
    track: s.track, startFrame: s.startFrame, endFrame: s.endFrame, peakFrame: s.peakFrame, peakDb: s.peakDb, overPedestal: s.overPedestal, elements: s.elements,
    unevenness: s.unevenness ?? 0, gapFrames: s.gapFrames ?? 0, shared: s.shared ?? false, core: s.core ?? false, twin: s.twin ?? false,
  };
}

/**
 * Cuts one track's level over time (dB over the floor, one value per frame) into segments: from each peak above `triggerDb` the segment
 * reaches as far as the level stays above max(keepDb, peak - belowPeakDb), bridging short gaps; peaks are taken loudest first.
 */
export function cutSegments(track: number, levelDb: Float32Array, rules: SegmentRules, overPedestal = false): Segment[] {
  const taken = new Uint8Array(levelDb.length);
  const order: number[] = [];
  for (let t = 0; t < levelDb.length; t++) {
    if (!(levelDb[t] >= rules.triggerDb)) continue;
    if ((t === 0 || levelDb[t] >= levelDb[t - 1]) && (t + 1 === levelDb.length || levelDb[t] > levelDb[t + 1])) order.push(t);
  }
  order.sort((a, b) => levelDb[b] - levelDb[a] || a - b);
  const out: Segment[] = [];
  for (const peak of order) {
    if (taken[peak]) continue;
    const low = Math.max(rules.keepDb, levelDb[peak] - rules.belowPeakDb);
    const endFrame = walk(levelDb, taken, peak, 1, low, rules.bridgeFrames) + 1;
    const startFrame = walk(levelDb, taken, peak, -1, low, rules.bridgeFrames);
    // What lies next to a loud call and is its decay must not become a call of its own: block it up to where the level stops falling.
    blockDecay(levelDb, taken, startFrame, endFrame);
    if (endFrame - startFrame >= rules.leastFrames) {
      out.push(copySegment({ track, startFrame, endFrame, peakFrame: peak, peakDb: levelDb[peak], overPedestal, elements: 1 }));
    }
  }
  return out.sort((a, b) => a.startFrame - b.startFrame);
}

function walk(level: Float32Array, taken: Uint8Array, from: number, step: number, low: number, bridge: number): number {
  let last = from;
  for (let t = from; t >= 0 && t < level.length && !taken[t]; t += step) {
    if (level[t] >= low) last = t;
    else if (Math.abs(t - last) > bridge) break;
  }
  return last;
}

function blockDecay(level: Float32Array, taken: Uint8Array, startFrame: number, endFrame: number): void {
  for (let t = startFrame; t < endFrame; t++) taken[t] = 1;
  let low = level[endFrame - 1];
  for (let t = endFrame; t < level.length; t++) {
    if (level[t] > low + 4) break;
    low = Math.min(low, level[t]);
    taken[t] = 1;
    if (level[t] <= 0) break;
  }
}

/** Peaks that differ by this much differ as much as lengths of one octave. */
const PEAK_OCTAVE_DB = 6;

/**
 * Joins runs of segments (in time order) whose gaps are at most `mostGap` frames; single segments are left out, and so is what becomes too long.
 * The elements of a trill are alike and come at equal intervals, those of a song differ: `unevenness` says how much.
 */
export function joinSegments(segments: readonly Segment[], mostGap: number, mostFrames: number): Segment[] {
  const out: Segment[] = [];
  for (let k = 0; k < segments.length; ) {
    let last = k;
    let best = k;
    while (last + 1 < segments.length && segments[last + 1].startFrame - segments[last].endFrame <= mostGap && segments[last + 1].endFrame - segments[k].startFrame <= mostFrames) {
      last++;
      if (segments[last].peakDb > segments[best].peakDb) best = last;
    }
    // Weak fragments around one call are no string: elements are within 12 dB of the strongest.
    const strong = segments.slice(k, last + 1).filter((s) => s.peakDb > segments[best].peakDb - 12);
    if (strong.length > 1) {
      const { unevenness, gapFrames } = describeString(strong);
      const joined = copySegment(segments[best]);
      joined.startFrame = strong[0].startFrame;
      joined.endFrame = strong[strong.length - 1].endFrame;
      joined.elements = strong.length;
      joined.unevenness = unevenness;
      joined.gapFrames = gapFrames;
      out.push(joined);
    }
    k = last + 1;
  }
  return out;
}

/** Root of the mean squares of how lengths and intervals (octaves) and peaks differ from their medians; mean gap, frames. */
function describeString(elements: readonly Segment[]): { unevenness: number; gapFrames: number } {
  const count = elements.length;
  const values = new Float64Array(count);
  for (let k = 0; k < count; k++) values[k] = log2(elements[k].endFrame - elements[k].startFrame);
  let squares = addScatter(values, 0);
  for (let k = 1; k < count; k++) values[k - 1] = log2(elements[k].startFrame - elements[k - 1].startFrame);
  squares = addScatter(values.subarray(0, count - 1), squares);
  for (let k = 0; k < count; k++) values[k] = elements[k].peakDb / PEAK_OCTAVE_DB;
  squares = addScatter(values, squares);
  let gaps = 0;
  for (let k = 1; k < count; k++) gaps += elements[k].startFrame - elements[k - 1].endFrame;
  return { unevenness: Math.sqrt(squares / (3 * count - 1)), gapFrames: gaps / (count - 1) };
}

/** Adds the squares of how values differ from their median. */
function addScatter(values: Float64Array, sum: number): number {
  const sorted = values.slice().sort(), half = sorted.length >> 1;
  const middle = sorted.length % 2 === 1 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
  let squares = sum;
  for (let k = 0; k < values.length; k++) squares += (values[k] - middle) * (values[k] - middle);
  return squares;
}
