import type { ReportInput } from './report-input.js';

/** The name that stands for a caller without a tag. */
export const NO_TAG = 'none';

/** What the report calls it. */
export const NO_TAG_LABEL = 'no tag';

/** Birds in the order of the study's tracks, then further names of the call table in order, callers without a tag left out. */
export function listBirds(input: Pick<ReportInput, 'study' | 'calls' | 'hours'>): string[] {
  const known = input.study.tracks.length ? input.study.tracks.map((t) => t.bird) : input.hours.map((h) => h.track);
  const others = input.calls.map((c) => c.bird).filter((b) => b !== NO_TAG).sort(compareText);
  return [...new Set([...known, ...others])];
}

/** Order of code units: the same on every machine. */
export function compareText(a: string, b: string): number {
  return a < b ? -1 : a > b ? 1 : 0;
}

/** Length of the study: as the run says, else what the tables reach. */
export function findDuration(input: Pick<ReportInput, 'run' | 'calls' | 'sounds' | 'hours'>): number {
  if (input.run.durationSec !== undefined && input.run.durationSec > 0) return input.run.durationSec;
  const ends = [...input.calls.map((c) => c.offsetSec), ...input.sounds.map((s) => s.offsetSec), ...input.hours.map((h) => h.startSec + h.usableSec)];
  return ends.reduce((most, t) => Math.max(most, t), 1);
}
