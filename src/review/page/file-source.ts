import { attributePooled } from '../../api/attribute-opened.js';
import type { AttributeResult } from '../../api/attribute-opened.js';
import { formatTables } from '../../api/format-tables.js';
import { createBrowserPool } from '../../browser/cell-pool.js';
import { draftFiles, openFiles, openFilesByManifest } from '../../browser/open-files.js';
import type { FileStudy } from '../../browser/open-files.js';
import { VolaryError } from '../../schema/errors.js';
import { drawSample } from '../../score/sample-calls.js';
import { formatSample } from '../../score/sample-file.js';
import type { VerifiedCall } from '../../score/score-verified.js';
import type { StudyManifest } from '../../study/manifest.js';
import { fillSample, formatLabels } from '../labels.js';
import type { LabelEntry } from '../labels.js';
import type { StudyInfo } from '../study-info.js';
import { cellWorkerSource } from './embedded.js';
import { saveFiles } from './save-files.js';
import type { ReviewSource } from './source.js';

/** How many calls are drawn to verify. */
const SAMPLE_SIZE = 100;
const MOST_WORKERS = 4;

/**
 * Lays out a study from files that a person chose; a study.json among them is followed, otherwise a study is drafted by the rules of `volary draft`.
 * @throws VolaryError where no file can be used
 */
export async function openChosenFiles(files: readonly File[]): Promise<{ study: FileStudy; notes: string[] }> {
  const given = files.find((f) => f.name === 'study.json');
  if (given) return { study: await openFilesByManifest(JSON.parse(await given.text()) as StudyManifest, files), notes: [] };
  const draft = await draftFiles(files);
  const notes = [...draft.unusable, ...draft.notes];
  if (!draft.manifest) throw new VolaryError('no-data', { what: 'no file can be used', got: draft.unusable[0] ?? `${files.length} files`, expected: 'one mono file per bird, or files with a channel per bird' });
  return { study: await openFiles(draft.manifest, draft.files), notes };
}

/** Attributes a study in workers of this page; nothing leaves the computer. */
export async function attributeHere(kernels: WebAssembly.Module, study: FileStudy, onProgress: (stage: string, done: number, total: number) => void, signal: AbortSignal): Promise<AttributeResult> {
  const url = URL.createObjectURL(new Blob([cellWorkerSource], { type: 'text/javascript' }));
  const workers = Math.min(MOST_WORKERS, navigator.hardwareConcurrency || 1);
  try {
    return await attributePooled(kernels, createBrowserPool(kernels, study, workers, () => new Worker(url)), study, { onProgress, signal });
  } finally {
    URL.revokeObjectURL(url);
  }
}

/** The review of a study that was attributed in this page. Corrections stay in this browser until they are saved as files. */
export function createFileSource(kernels: WebAssembly.Module, study: FileStudy, result: AttributeResult, notes: string[]): ReviewSource {
  const { timeline, manifest } = study;
  const texts: Record<string, string> = formatTables(result, manifest.name);
  const info: StudyInfo = {
    name: manifest.name, start: manifest.start, sampleRateHz: timeline.sampleRateHz, durationSec: timeline.durationSec, recorders: timeline.recorders, bandHz: result.settings.bandHz,
    tracks: timeline.tracks.map((t, j) => ({ bird: t.bird, recorder: t.recorder, gainDb: result.gainDb[j], hasVoice: false })),
    callsFingerprint: hashText(texts['calls.csv']), notes: [...notes, ...result.problems.map((p) => p.text)],
  };
  const shelf = openShelf(`volary-labels-${info.callsFingerprint}`);
  const byId = new Map(result.calls.map((c) => [c.callId, c]));
  const sample: VerifiedCall[] = result.calls.length ? drawSample(result.calls, SAMPLE_SIZE).drawn.map((d, k) => ({ ...d, row: k + 2, bird: '', onsetSec: byId.get(d.callId)!.onsetSec })) : [];
  return {
    info, kernels, sample, calls: result.calls, sounds: result.sounds, clock: result.clock, hours: result.tracks, entries: shelf.read(),
    place: { kind: 'files', timeline, clock: result.clock, files: study.files }, tables: Object.keys(texts).filter((n) => n.endsWith('.csv')),
    readTable: async (name) => texts[name], keeps: 'kept in this browser',
    save: async (window, { serial, changes }) => shelf.append({ n: shelf.read().length + 1, utc: new Date().toISOString(), window, serial, changes }),
    listen: (onEntry) => shelf.listen(onEntry),
    saveAll: async (labels) => {
      const corrections: Record<string, string> = labels.size ? { 'labels.csv': formatLabels(labels, result.calls), 'verified.csv': formatSample(result.calls, fillSample(sample, labels)) } : {};
      return saveFiles({ ...texts, ...corrections });
    },
  };
}

/** Entries in the browser's own storage, where it has one. */
function openShelf(key: string): { read(): LabelEntry[]; append(entry: LabelEntry): void; listen(onEntry: (entry: LabelEntry) => void): void } {
  let held: LabelEntry[] = [];
  let tell: (entry: LabelEntry) => void = () => undefined;
  const load = (): LabelEntry[] => {
    try { return JSON.parse(localStorage.getItem(key) ?? '[]') as LabelEntry[]; } catch { return held; }
  };
  held = load();
  return {
    read: () => held,
    append(entry) {
      const now = [...held, entry];
      // Where the storage is full or closed, the person is told; the answers stay in this window until they are saved as files.
      try { localStorage.setItem(key, JSON.stringify(now)); } catch { throw new Error('this browser keeps nothing: use Save tables before closing'); }
      held = now;
      tell(entry);
    },
    listen(onEntry) {
      tell = onEntry;
      addEventListener('storage', (e) => {
        if (e.key !== key) return;
        const now = load();
        for (const entry of now.slice(held.length)) onEntry(entry);
        held = now;
      });
    },
  };
}

/** 64 bits of FNV-1a (Fowler, Noll, Vo) over the code units: tells tables apart, protects nothing. */
function hashText(text: string): string {
  let hash = 0xcbf29ce484222325n;
  for (let i = 0; i < text.length; i++) hash = BigInt.asUintN(64, (hash ^ BigInt(text.charCodeAt(i))) * 0x100000001b3n);
  return hash.toString(16);
}
