/**
 * Stretches in which a track stands still: digital silence, or one value held. A microphone and a receiver always give some noise, so
 * that nothing was heard there: the link is down.
 */
import type { Gap, PcmRun } from '../study/study-audio.js';

/** Frames on the recorder's clock. */
export interface StillRun {
  trackIndex: number;
  startFrame: number;
  frameCount: number;
}

/** From this length on a stretch counts. */
const LEAST_SEC = 1;
/** A shorter one is kept where it reaches the edge of a cell and may go on in the next. */
const EDGE_SEC = 0.01;

interface OpenRun { value: number; fromFrame: number; endFrame: number }
type ReadSample = (byte: number) => number;
/** Samples from one at a byte on that equal it, at most `count`. */
export type CountSame = (byteOffset: number, strideBytes: number, coding: PcmRun['coding'], count: number) => number;
/** Samples of a track in order. */
interface Stretch { read: (i: number) => number; countSame: (i: number, count: number) => number }

/** Finds the still stretches of one cell from samples that come in order of time. */
export class StillFinder {
  private readonly leastFrames: number;
  private readonly edgeFrames: number;
  private open: (OpenRun | undefined)[] = [];
  private found: StillRun[] = [];
  private fromFrame = 0;
  private toFrame = 0;

  constructor(private readonly trackCount: number, sampleRateHz: number) {
    this.leastFrames = countLeastFrames(sampleRateHz);
    this.edgeFrames = Math.max(1, Math.round(EDGE_SEC * sampleRateHz));
  }

  /** Begins a cell of frames [fromFrame, toFrame). */
  start(fromFrame: number, toFrame: number): void {
    this.fromFrame = fromFrame;
    this.toFrame = toFrame;
    this.open = new Array<undefined>(this.trackCount).fill(undefined);
    this.found = [];
  }

  /**
   * Takes samples that lie in `bytes` as the runs say, counted from `startFrame`; in gaps there are none, whatever stands there.
   * @param countSame for bytes in the kernels' memory; sample by sample where it is not given
   */
  take(bytes: Uint8Array, runs: readonly PcmRun[], gaps: readonly Gap[], startFrame: number, countSame?: CountSame): void {
    for (let j = 0; j < this.trackCount; j++) {
      const cuts = gaps.filter((g) => g.trackIndex === j);
      for (const run of runs.filter((r) => r.trackIndex === j).sort((a, b) => a.offset - b.offset)) {
        const read = makeReader(bytes, run.coding);
        const first = startFrame + run.offset;
        let at = first;
        const takeUpTo = (end: number): void => {
          if (end <= at) return;
          const origin = run.byteOffset + (at - first) * run.strideBytes, readAt = (i: number): number => read(origin + i * run.strideBytes);
          this.takeStretch(j, { read: readAt, countSame: (i, count) => (countSame ? countSame(origin + i * run.strideBytes, run.strideBytes, run.coding, count) : countPlainly(readAt, i, count)) }, at, end - at);
        };
        for (const cut of cuts) {
          takeUpTo(Math.min(cut.startFrame, first + run.frameCount));
          at = Math.max(at, cut.startFrame + cut.frameCount);
        }
        takeUpTo(first + run.frameCount);
      }
    }
  }

  /** What was found, in order of tracks and time. */
  finish(): StillRun[] {
    this.open.forEach((run, j) => { if (run) this.keep(j, run.fromFrame, run.endFrame); });
    return this.found.sort((a, b) => a.trackIndex - b.trackIndex || a.startFrame - b.startFrame);
  }

  /** Of sound a sample a second and its neighbours are looked at: a still stretch of that length cannot lie between them. */
  private takeStretch(track: number, { read, countSame }: Stretch, startFrame: number, count: number): void {
    let value = read(0), origin = startFrame;
    const before = this.open[track];
    if (before && before.endFrame === startFrame && before.value === value) origin = before.fromFrame;
    else if (before) this.keep(track, before.fromFrame, before.endFrame);
    this.open[track] = undefined;
    let same = 0;
    for (;;) {
      const end = same + countSame(same, count - same);
      if (end === count) {
        this.open[track] = { value, fromFrame: origin, endFrame: startFrame + count };
        return;
      }
      this.keep(track, origin, startFrame + end);
      // The next stretch that is long enough, or else the one that the samples end with.
      for (let from = end; ;) {
        const probe = Math.min(count - 1, from + this.leastFrames - 1);
        value = read(probe);
        let first = probe;
        while (first > from && read(first - 1) === value) first--;
        if (first > from && probe < count - 1) {
          from = first;
          continue;
        }
        origin = startFrame + first;
        same = probe;
        break;
      }
    }
  }

  private keep(trackIndex: number, startFrame: number, endFrame: number): void {
    const frameCount = endFrame - startFrame;
    const isAtEdge = startFrame === this.fromFrame || endFrame === this.toFrame;
    if (frameCount >= (isAtEdge ? this.edgeFrames : this.leastFrames)) this.found.push({ trackIndex, startFrame, frameCount });
  }
}

function countPlainly(read: (i: number) => number, from: number, count: number): number {
  const value = read(from);
  let n = 1;
  while (n < count && read(from + n) === value) n++;
  return n;
}

/** Joins what goes on from cell to cell and leaves out what is too short then. */
export function joinStill(runs: readonly StillRun[], sampleRateHz: number): StillRun[] {
  const joined: StillRun[] = [];
  for (const run of [...runs].sort((a, b) => a.trackIndex - b.trackIndex || a.startFrame - b.startFrame)) {
    const last = joined[joined.length - 1];
    if (last && last.trackIndex === run.trackIndex && last.startFrame + last.frameCount === run.startFrame) last.frameCount += run.frameCount;
    else joined.push({ ...run });
  }
  return joined.filter((r) => r.frameCount >= countLeastFrames(sampleRateHz));
}

function countLeastFrames(sampleRateHz: number): number {
  return Math.max(2, Math.round(LEAST_SEC * sampleRateHz));
}

/** Reads the code of a sample at a byte; only whether two are equal matters. */
function makeReader(bytes: Uint8Array, coding: PcmRun['coding']): ReadSample {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  switch (coding) {
    case 'u8': return (at) => bytes[at];
    case 's16': return (at) => view.getInt16(at, true);
    case 's24': return (at) => bytes[at] | (bytes[at + 1] << 8) | (bytes[at + 2] << 16);
    case 's32': return (at) => view.getInt32(at, true);
    case 'f32': return (at) => view.getFloat32(at, true);
  }
}
