import { quoteName } from '../schema/errors.js';
import type { Draft } from '../study/draft-study.js';
import type { Timeline } from '../study/timeline.js';
import { formatDuration } from './progress.js';

/** What `draft --json` prints. */
export interface DraftSummary {
  manifest: string;
  name: string;
  start?: string;
  sample_rate_hz: number;
  duration_s: number;
  files: number;
  recorders: { name: string; birds: string[] }[];
  gaps: number;
  overlaps: number;
  notes: string[];
  unusable: string[];
}

export function summariseDraft(path: string, draft: Draft, timeline: Timeline | undefined): DraftSummary {
  const manifest = draft.manifest!;
  const count = (kind: string): number => timeline?.problems.filter((p) => p.kind === kind).length ?? 0;
  return {
    manifest: path,
    name: manifest.name,
    ...(manifest.start ? { start: manifest.start } : {}),
    sample_rate_hz: draft.sampleRateHz,
    duration_s: timeline?.durationSec ?? 0,
    files: new Set(manifest.tracks.flatMap((t) => t.files.map((f) => f.path))).size,
    recorders: manifest.recorders.map(({ name }) => ({ name, birds: manifest.tracks.filter((t) => t.recorder === name).map((t) => t.bird) })),
    gaps: count('gap'),
    overlaps: count('overlap'),
    notes: draft.notes,
    unusable: draft.unusable,
  };
}

/** A few lines for the person, ending with what to type next. */
export function describeDraft(s: DraftSummary): string {
  const birds = s.recorders.reduce((n, r) => n + r.birds.length, 0);
  const many = (n: number, word: string): string => `${n} ${word}${n === 1 ? '' : 's'}`;
  const lines = [
    `wrote ${quoteName(s.manifest)}: ${many(birds, 'bird')}, ${many(s.recorders.length, 'recorder')}, ${many(s.files, 'file')}, ${formatDuration(s.duration_s)} at ${s.sample_rate_hz} Hz${s.start ? `, from ${s.start}` : ''}`,
    ...s.recorders.map((r, i) => `  recorder ${r.name}${i === 0 && s.recorders.length > 1 ? ' (reference clock)' : ''}: ${r.birds.join(', ')}`),
  ];
  if (s.gaps + s.overlaps > 0) lines.push(`  ${many(s.gaps, 'gap')} and ${many(s.overlaps, 'overlap')} between files`);
  if (s.unusable.length > 0) lines.push(`  left out: ${many(s.unusable.length, 'file')}, see above`);
  lines.push(`next: look at it, then type  volary check ${/^[\w./-]+$/.test(s.manifest) ? s.manifest : quoteName(s.manifest)}`);
  return lines.join('\n');
}
