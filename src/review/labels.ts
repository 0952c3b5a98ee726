import { VolaryError, quoteName } from '../schema/errors.js';
import type { CallRow } from '../schema/rows.js';
import { NO_CALL_HEARD } from '../score/score-verified.js';
import type { VerifiedCall } from '../score/score-verified.js';
import { quoteCsvField } from '../table/csv-text.js';

/** What a person heard: a call or a bout of song; or a sound that is no call, by the words of the table of sounds; or no call, not said why. */
export const SOUND_KINDS = ['call', 'song', 'body', 'dropout', 'breakthrough', 'room', NO_CALL_HEARD] as const;
export type SoundKind = (typeof SOUND_KINDS)[number];

/** A person's word on a call of the table, or on a call that the table lacks. */
export interface Label {
  bird: string;
  /** Seconds since the study's start on the reference clock, half-open. */
  onsetSec: number;
  offsetSec: number;
  kind: SoundKind;
  /** Track on which it was heard. */
  track: string;
  note: string;
}

/** `id` is c and the number of a call of the table, or a name of its own for a call that was added; null takes the word back. */
export interface LabelChange {
  id: string;
  label: Label | null;
}

/** One line of the journal: changes that belong together. */
export interface LabelEntry {
  n: number;
  /** RFC 3339 time of the change. */
  utc: string;
  /** The window that made it. */
  window: string;
  /** Counts what the window has sent: what comes a second time, because the answer to the first was lost, is not written again. */
  serial?: number;
  changes: LabelChange[];
}

export type LabelMap = ReadonlyMap<string, Label>;

export const idOfCall = (callId: number): string => `c${callId}`;
export const isRealCall = (kind: SoundKind): boolean => kind === 'call' || kind === 'song';

/** What one request may hold. */
export const MOST_CHANGES = 20_000;
export const MOST_BODY_BYTES = 8 * 2 ** 20;

export function applyChanges(labels: Map<string, Label>, changes: readonly LabelChange[]): void {
  for (const { id, label } of changes) {
    if (label) labels.set(id, label);
    else labels.delete(id);
  }
}

export function isSameLabel(a: Label | null | undefined, b: Label | null | undefined): boolean {
  if (!a || !b) return !a && !b;
  return a.bird === b.bird && a.onsetSec === b.onsetSec && a.offsetSec === b.offsetSec && a.kind === b.kind && a.track === b.track && a.note === b.note;
}

/**
 * Checks changes that came from outside.
 * @throws VolaryError 'bad-labels' naming the change and what was expected
 */
export function parseChanges(value: unknown): LabelChange[] {
  if (!Array.isArray(value) || value.length === 0 || value.length > MOST_CHANGES) throw refuse('changes', value, `a list of 1 to ${MOST_CHANGES} changes`);
  return value.map((change: unknown, k): LabelChange => {
    const where = `changes[${k}]`;
    const { id, label } = (change ?? {}) as { id?: unknown; label?: unknown };
    if (typeof id !== 'string' || !/^[a-z][\w-]{0,40}$/.test(id)) throw refuse(`${where}.id`, id, 'c and the number of a call, or a name');
    return { id, label: label === null ? null : parseLabel(label, `${where}.label`) };
  });
}

function parseLabel(value: unknown, where: string): Label {
  const { bird, onsetSec, offsetSec, kind, track = '', note = '' } = (value ?? {}) as Record<string, unknown>;
  if (typeof bird !== 'string' || bird === '' || bird !== bird.trim() || bird.length > 200) throw refuse(`${where}.bird`, bird, "a bird's name, or none");
  if (typeof onsetSec !== 'number' || !Number.isFinite(onsetSec) || onsetSec < 0) throw refuse(`${where}.onsetSec`, onsetSec, 'seconds, 0 or more');
  // Times are written with six decimals; a shorter call would end where it starts.
  if (typeof offsetSec !== 'number' || !Number.isFinite(offsetSec) || offsetSec < onsetSec + 2e-6) throw refuse(`${where}.offsetSec`, offsetSec, 'more than the onset');
  if (!SOUND_KINDS.includes(kind as SoundKind)) throw refuse(`${where}.kind`, kind, `one of ${SOUND_KINDS.join(', ')}`);
  if (typeof track !== 'string' || track.length > 200) throw refuse(`${where}.track`, track, 'the name of a track');
  if (typeof note !== 'string' || note.length > 2000) throw refuse(`${where}.note`, note, 'at most 2000 letters');
  return { bird, onsetSec, offsetSec, kind: kind as SoundKind, track, note: note.trim() };
}

function refuse(where: string, got: unknown, expected: string): VolaryError {
  const text = got === undefined ? 'nothing' : JSON.stringify(got);
  return new VolaryError('bad-labels', { where, what: 'wrong value', got: quoteName(text.slice(0, 80)), expected });
}

/** labels.csv: the calls that a person has confirmed, corrected or added, in order of time; what was found to be no call is left out. */
export function formatLabels(labels: LabelMap, calls: readonly CallRow[]): string {
  const byId = new Map(calls.map((call) => [idOfCall(call.callId), call]));
  const seen = new Set<string>();
  const rows = [...labels].filter(([, l]) => isRealCall(l.kind)).sort(([a, x], [b, y]) => x.onsetSec - y.onsetSec || x.offsetSec - y.offsetSec || (a < b ? -1 : 1));
  const lines = rows.flatMap(([id, { bird, onsetSec, offsetSec, kind, track, note }]) => {
    const times = [onsetSec.toFixed(6), offsetSec.toFixed(6)];
    const key = [bird, ...times].join('\n');
    if (seen.has(key)) return [];
    seen.add(key);
    const call = byId.get(id);
    return [[quoteCsvField(bird), ...times, kind, quoteCsvField(track), call?.callId ?? '', quoteCsvField(call?.bird ?? ''), quoteCsvField(note)].join(',')];
  });
  return `${['bird,onset_s,offset_s,kind,track,call_id,table_bird,note', ...lines].join('\n')}\n`;
}

/** A drawn sample with what was heard filled in, for `scoreVerified` and for `volary score --labels`. */
export function fillSample(sample: readonly VerifiedCall[], labels: LabelMap): VerifiedCall[] {
  return sample.map((row) => {
    const label = labels.get(idOfCall(row.callId));
    return { ...row, bird: label ? (isRealCall(label.kind) ? label.bird : NO_CALL_HEARD) : '' };
  });
}
