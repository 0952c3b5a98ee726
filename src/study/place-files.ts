import type { FileTime } from './file-times.js';
import { compareNaturally } from './natural-order.js';

/** A file of one recorder, as much of it as placing it on the recorder's clock needs. */
export interface PlaceableFile {
  path: string;
  birds: readonly string[];
  time: FileTime;
  frameCount: number;
}

export interface Placement {
  /** Time of the first file. */
  startMs: number;
  /** First frame of each file since the recorder's first, by path. */
  startFrames: Map<string, number>;
  /** Frame after the last file. */
  endFrame: number;
  /** What the told times could not mean, one line each. */
  notes: string[];
}

interface Slot { timeMs: number; toleranceSec: number; files: PlaceableFile[]; startFrame: number; frameCount: number }

/** Told times further back than this were no overlap but a clock that was set. */
const LONGEST_OVERLAP_SEC = 60;
/** A crystal's error: more than this between the clock of the samples and the clock of the names is a step. */
const CLOCK_PPM = 60;

/**
 * Places the files of one recorder on its clock. Files told to start together start together. A file told to start where the one
 * before ends (within what whole seconds can tell) starts exactly there, for the samples keep better time than the names.
 */
export function placeFiles(files: readonly PlaceableFile[], sampleRateHz: number): Placement {
  const slots = groupTogether(files);
  const last = new Map<string, Slot>();
  const notes: string[] = [];
  for (const slot of slots) {
    const birds = slot.files.flatMap((f) => f.birds);
    const before = birds.map((b) => last.get(b)).filter((s) => s !== undefined).reduce<Slot | undefined>((a, b) => (a && endOf(a) >= endOf(b) ? a : b), undefined);
    slot.startFrame = before ? placeAfter(before, slot, sampleRateHz, notes) : Math.round(((slot.timeMs - slots[0].timeMs) / 1000) * sampleRateHz);
    for (const bird of birds) last.set(bird, slot);
  }
  const startFrames = new Map(slots.flatMap((s) => s.files.map((f) => [f.path, s.startFrame] as const)));
  return { startMs: slots[0]?.timeMs ?? 0, startFrames, endFrame: Math.max(0, ...slots.map(endOf)), notes };
}

/** Seconds by which told times may miss what the samples say and still mean the same. */
export function findToleranceSec(a: FileTime, b: FileTime, lengthSec: number): number {
  const stepSec = Math.max(a.stepSec, b.stepSec);
  return Math.max(0.01, 2 * (stepSec < 1 ? 0 : stepSec)) + CLOCK_PPM * 1e-6 * lengthSec;
}

function groupTogether(files: readonly PlaceableFile[]): Slot[] {
  const sorted = [...files].sort((a, b) => a.time.timeMs - b.time.timeMs || compareNaturally(a.path, b.path));
  const slots: Slot[] = [];
  for (const file of sorted) {
    const slot = slots[slots.length - 1];
    const toleranceSec = findToleranceSec(file.time, file.time, 0);
    const isTogether = slot && (file.time.timeMs - slot.timeMs) / 1000 <= toleranceSec && !slot.files.some((f) => f.birds.some((b) => file.birds.includes(b)));
    if (isTogether) {
      slot.files.push(file);
      slot.frameCount = Math.max(slot.frameCount, file.frameCount);
    } else {
      slots.push({ timeMs: file.time.timeMs, toleranceSec, files: [file], startFrame: 0, frameCount: file.frameCount });
    }
  }
  return slots;
}

function placeAfter(before: Slot, slot: Slot, sampleRateHz: number, notes: string[]): number {
  const lengthSec = before.frameCount / sampleRateHz;
  const stepSec = (slot.timeMs - before.timeMs) / 1000;
  const gapSec = stepSec - lengthSec;
  const tolerance = findToleranceSec(before.files[0].time, slot.files[0].time, lengthSec);
  if (Math.abs(gapSec) <= tolerance) return endOf(before);
  const path = JSON.stringify(slot.files[0].path);
  if (gapSec < -LONGEST_OVERLAP_SEC) {
    notes.push(`the time of ${path} lies ${Math.round(-gapSec)} s before the end of the file before it: the clock was set back; placed it right after`);
    return endOf(before);
  }
  if (Math.abs(gapSec - 3600) <= tolerance) notes.push(`there is a gap of exactly one hour before ${path}: if the clock was set forward, edit its start_s`);
  return before.startFrame + Math.round(stepSec * sampleRateHz);
}

function endOf(slot: Slot): number {
  return slot.startFrame + slot.frameCount;
}
