import { quoteName, VolaryError } from '../schema/errors.js';
import type { AudioReader, PcmLayout } from '../audio/types.js';
import type { Problem, Segment, Timeline } from './timeline.js';

/** A stretch of a track without sound of its own: zeros stand there. Frames on the recorder's clock. */
export interface Gap {
  trackIndex: number;
  startFrame: number;
  frameCount: number;
  /** no-file: nothing recorded; lost: the file is damaged there; unreadable: the file failed while being read. */
  reason: 'no-file' | 'lost' | 'unreadable';
}

/** A stretch of one track as bytes: sample i at byteOffset + i * strideBytes of the memory that was read into. */
export interface PcmRun {
  trackIndex: number;
  /** First frame, counted from the start of what was asked for. */
  offset: number;
  frameCount: number;
  byteOffset: number;
  strideBytes: number;
  coding: PcmLayout['coding'] | 'f32';
}

/** What `readPcm` gives. */
export interface PcmStretch {
  runs: PcmRun[];
  gaps: Gap[];
  /** Per track: samples of this stretch that are no numbers; zeros stand there. */
  nonFiniteCounts: number[];
}

export interface StudyAudioOptions {
  /** Most files kept open at once. */
  maxOpenReaders?: number;
}

interface Want { trackIndex: number; channel: number }
interface Job { path: string; fileFrame: number; frameCount: number; offset: number; startFrame: number; wants: Want[] }

/**
 * Reads all tracks of a study, span by span, each on its own recorder's clock. A file with several tracks is read once per span.
 * @example const audio = new StudyAudio(timeline, openReader); const gaps = await audio.readTracks(0, 4800, blocks);
 */
export class StudyAudio {
  /** Files that failed while being read, each named once. */
  readonly problems: Problem[] = [];
  /** Samples that were no numbers and were replaced by 0, by track; what is read again by the same reader counts once. */
  readonly nonFiniteCounts: number[];
  private readonly readers = new Map<string, AudioReader>();
  private readonly failed = new Set<string>();
  private readonly scratch: Float32Array[] = [];
  private readonly maxOpen: number;
  private queue: Promise<unknown> = Promise.resolve();
  private misses = 0;

  constructor(readonly timeline: Timeline, private readonly openReader: (path: string) => Promise<AudioReader>, options: StudyAudioOptions = {}) {
    this.maxOpen = Math.max(1, options.maxOpenReaders ?? 64);
    this.nonFiniteCounts = timeline.tracks.map(() => 0);
  }

  /**
   * Reads frames [startFrame, startFrame + frameCount) of every track into `into[trackIndex]` (at least frameCount long; null = not
   * wanted). `startFrame` may be a list with one start per recorder. Zeros where there is no sound; the gaps are returned, sorted by
   * track and time. Calls wait for each other. A file that fails is a gap and a problem, never an exception.
   */
  readTracks(startFrame: number | ArrayLike<number>, frameCount: number, into: readonly (Float32Array | null)[]): Promise<Gap[]> {
    const result = this.queue.then(() => this.readNow(startFrame, frameCount, into));
    this.queue = result.catch(() => undefined);
    return result;
  }

  /**
   * Like `readTracks`, without decoding what needs none: bytes go to `into` as they lie in the files, or as planar 32-bit floats,
   * and the runs say where. Where no run is there is no sound. `into` needs 4 bytes per frame and track and 16 per run, for all
   * tracks; at a multiple of 4.
   * @param wanted tracks to read; all where it is not given
   */
  readPcm(startFrame: number | ArrayLike<number>, frameCount: number, into: Uint8Array, wanted?: readonly number[]): Promise<PcmStretch> {
    const result = this.queue.then(() => this.readPcmNow(startFrame, frameCount, into, wanted));
    this.queue = result.catch(() => undefined);
    return result;
  }

  /** How often a file that fails was wanted so far; zeros were given for it. */
  get unreadCount(): number { return this.misses; }

  /** Closes all files. */
  async close(): Promise<void> {
    await this.queue;
    const open = [...this.readers.values()];
    this.readers.clear();
    for (const reader of open) await reader.close().catch(() => undefined);
  }

  private async readNow(startFrame: number | ArrayLike<number>, frameCount: number, into: readonly (Float32Array | null)[]): Promise<Gap[]> {
    const gaps: Gap[] = [];
    const jobs = this.planJobs(startFrame, frameCount, gaps, into);
    for (const job of jobs.values()) await this.runJob(job, into, gaps);
    return sortGaps(gaps);
  }

  /** Jobs that bring the tracks for which `into` has a place, or all. */
  private planJobs(startFrame: number | ArrayLike<number>, frameCount: number, gaps: Gap[], into?: readonly (Float32Array | null)[]): Map<string, Job> {
    const jobs = new Map<string, Job>();
    this.timeline.tracks.forEach((track, trackIndex) => {
      const target = into?.[trackIndex];
      if (into && !target) return;
      const from = typeof startFrame === 'number' ? startFrame : startFrame[track.recorderIndex];
      planTrack(trackIndex, track.segments, from, frameCount, jobs, gaps, target ?? undefined);
    });
    return jobs;
  }

  private async readPcmNow(startFrame: number | ArrayLike<number>, frameCount: number, into: Uint8Array, wanted?: readonly number[]): Promise<PcmStretch> {
    const planned: Gap[] = [], isWanted = (t: { trackIndex: number }): boolean => !wanted || wanted.includes(t.trackIndex);
    // All tracks are planned for: whether bytes of a file fit does not depend on how many of its tracks are wanted.
    const jobs = this.planJobs(startFrame, frameCount, planned);
    const runs: PcmRun[] = [], gaps = planned.filter(isWanted), nonFiniteCounts = this.timeline.tracks.map(() => 0);
    let at = 0;
    for (const whole of jobs.values()) {
      const job = { ...whole, wants: whole.wants.filter(isWanted) };
      if (job.wants.length === 0) continue;
      const layout = await this.findLayout(whole);
      if (layout) {
        const bytes = job.frameCount * layout.blockBytes;
        if (!(await this.readJobBytes(job, into.subarray(at, at + bytes), gaps))) continue;
        for (const { trackIndex, channel } of job.wants) {
          runs.push({ trackIndex, offset: job.offset, frameCount: job.frameCount, byteOffset: at + channel * layout.sampleBytes, strideBytes: layout.blockBytes, coding: layout.coding });
        }
        at += 16 * Math.ceil(bytes / 16);
        continue;
      }
      const planes: (Float32Array | null)[] = this.timeline.tracks.map(() => null);
      for (const { trackIndex } of job.wants) {
        planes[trackIndex] = new Float32Array(into.buffer, into.byteOffset + at, job.frameCount);
        runs.push({ trackIndex, offset: job.offset, frameCount: job.frameCount, byteOffset: at, strideBytes: 4, coding: 'f32' });
        at += 4 * job.frameCount;
      }
      at = 16 * Math.ceil(at / 16);
      await this.runJob({ ...job, offset: 0 }, planes, gaps, nonFiniteCounts);
    }
    return { runs, gaps: sortGaps(gaps), nonFiniteCounts };
  }

  /** The layout of a job's file where its bytes are no more than the floats of all its tracks would be. */
  private async findLayout(job: Job): Promise<PcmLayout | undefined> {
    if (this.failed.has(job.path)) return undefined;
    try {
      const layout = (await this.getReader(job.path)).pcmLayout;
      return layout && layout.blockBytes <= 4 * job.wants.length ? layout : undefined;
    } catch {
      // Said when it is read.
      return undefined;
    }
  }

  private async readJobBytes(job: Job, into: Uint8Array, gaps: Gap[]): Promise<boolean> {
    try {
      await (await this.getReader(job.path)).readBytes!(job.fileFrame, into);
      return true;
    } catch (error) {
      this.reportFailure(job, error);
      this.misses++;
      for (const { trackIndex } of job.wants) gaps.push({ trackIndex, startFrame: job.startFrame, frameCount: job.frameCount, reason: 'unreadable' });
      return false;
    }
  }

  private reportFailure(job: Job, error: unknown): void {
    this.failed.add(job.path);
    const reason = error instanceof VolaryError ? error.message : `${quoteName(job.path)}: cannot be read; got ${String((error as Error)?.message ?? error)}`;
    const bird = this.timeline.tracks[job.wants[0].trackIndex].bird;
    this.problems.push({ severity: 'error', kind: 'unreadable', bird, path: job.path, text: reason, startSec: job.startFrame / this.timeline.sampleRateHz });
  }

  private async runJob(job: Job, into: readonly (Float32Array | null)[], gaps: Gap[], nonFiniteCounts?: number[]): Promise<void> {
    const lose = (reason: Gap['reason'], done: number): void => {
      if (reason === 'unreadable') this.misses++;
      for (const { trackIndex } of job.wants) {
        into[trackIndex]!.fill(0, job.offset + done, job.offset + job.frameCount);
        gaps.push({ trackIndex, startFrame: job.startFrame + done, frameCount: job.frameCount - done, reason });
      }
    };
    if (this.failed.has(job.path)) return lose('unreadable', 0);
    try {
      const reader = await this.getReader(job.path);
      const targets = this.chooseTargets(reader, job, into);
      const badBefore = reader.nonFiniteCount;
      const done = await reader.readFrames(job.fileFrame, job.frameCount, targets.arrays, targets.offset);
      const lost = reader.listLost?.(job.fileFrame, done) ?? [];
      for (const { trackIndex, channel } of job.wants) {
        const target = into[trackIndex]!;
        const source = targets.arrays[channel]!;
        if (source !== target || targets.offset !== job.offset) target.set(source.subarray(targets.offset, targets.offset + done), job.offset);
        // What was read before counts no more among the fresh ones; a reader may know them only of all its channels.
        const fresh = reader.nonFiniteCount - badBefore, replaced = reader.replacedCounts ? reader.replacedCounts[channel] ?? 0 : fresh;
        if (nonFiniteCounts) nonFiniteCounts[trackIndex] += replaced;
        this.nonFiniteCounts[trackIndex] += Math.min(replaced, fresh);
        for (const [from, to] of lost) gaps.push({ trackIndex, startFrame: job.startFrame + from - job.fileFrame, frameCount: to - from, reason: 'lost' });
      }
      if (done < job.frameCount) lose('lost', done);
    } catch (error) {
      this.reportFailure(job, error);
      lose('unreadable', 0);
    }
  }

  /** Channels go straight to their tracks; a second track of the same channel is copied from there. The rest is left out, or goes through scratch where it has to be read. */
  private chooseTargets({ info: { channelCount }, pcmLayout }: AudioReader, job: Job, into: readonly (Float32Array | null)[]): { arrays: (Float32Array | null)[]; offset: number } {
    const arrays: (Float32Array | null)[] = new Array<null>(channelCount).fill(null);
    for (const { trackIndex, channel } of job.wants) arrays[channel] ??= into[trackIndex]!;
    if (pcmLayout) return { arrays, offset: job.offset };
    for (let c = 0; c < channelCount; c++) {
      if (arrays[c]) continue;
      const needed = job.offset + job.frameCount;
      if ((this.scratch[c]?.length ?? 0) < needed) this.scratch[c] = new Float32Array(needed);
      arrays[c] = this.scratch[c];
    }
    return { arrays, offset: job.offset };
  }

  private async getReader(path: string): Promise<AudioReader> {
    let reader = this.readers.get(path);
    if (reader) {
      this.readers.delete(path);
    } else {
      while (this.readers.size >= this.maxOpen) {
        const [oldest, old] = this.readers.entries().next().value!;
        this.readers.delete(oldest);
        await old.close();
      }
      reader = await this.openReader(path);
    }
    this.readers.set(path, reader);
    return reader;
  }
}

function sortGaps(gaps: Gap[]): Gap[] {
  return gaps.sort((a, b) => a.trackIndex - b.trackIndex || a.startFrame - b.startFrame);
}

function planTrack(trackIndex: number, segments: readonly Segment[], from: number, frameCount: number, jobs: Map<string, Job>, gaps: Gap[], target?: Float32Array): void {
  const end = from + frameCount;
  let cursor = from;
  const skipTo = (frame: number): void => {
    if (frame <= cursor) return;
    target?.fill(0, cursor - from, frame - from);
    gaps.push({ trackIndex, startFrame: cursor, frameCount: frame - cursor, reason: 'no-file' });
  };
  for (let i = findSegment(segments, from); i < segments.length && segments[i].startFrame < end; i++) {
    const s = segments[i];
    const start = Math.max(from, s.startFrame);
    const count = Math.min(end, s.startFrame + s.frameCount) - start;
    if (count <= 0) continue;
    skipTo(start);
    cursor = start + count;
    const fileFrame = s.fileFrame + start - s.startFrame;
    const key = `${fileFrame} ${count} ${start - from} ${s.path}`;
    const job = jobs.get(key) ?? { path: s.path, fileFrame, frameCount: count, offset: start - from, startFrame: start, wants: [] };
    job.wants.push({ trackIndex, channel: s.channel });
    jobs.set(key, job);
  }
  skipTo(end);
}

/** Index of the first segment that ends after `frame`. */
function findSegment(segments: readonly Segment[], frame: number): number {
  let low = 0;
  let high = segments.length;
  while (low < high) {
    const mid = (low + high) >> 1;
    if (segments[mid].startFrame + segments[mid].frameCount > frame) high = mid;
    else low = mid + 1;
  }
  return low;
}
