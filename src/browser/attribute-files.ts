import { attributeInline, attributePooled, type AttributeOptions, type AttributeResult } from '../api/attribute-opened.js';
import { openTracks, type TracksInput } from '../api/open-tracks.js';
import { buildWavFile } from '../audio/wav-writer.js';
import { VolaryError } from '../schema/errors.js';
import type { StudyManifest } from '../study/manifest.js';
import { createBrowserPool } from './cell-pool.js';
import { loadKernels, type KernelSource } from './load-kernels.js';
import { draftFiles, openBirdFiles, openFiles, openFilesByManifest, type BirdFile, type FileStudy } from './open-files.js';

export interface BrowserOptions extends AttributeOptions {
  /** Web Workers; 0 = none, all in the page's thread, cell by cell. The tables are the same for any number. */
  workers?: number;
  /** The kernels, where they do not lie beside the package. */
  kernels?: KernelSource;
}

export interface AttributeFilesOptions extends BrowserOptions {
  /** Name of the study. */
  name?: string;
  /** When the study starts, RFC 3339 in UTC; only for a list that says which file is whose. */
  startUtc?: string;
  /** Minutes that the recorders' clocks were ahead of UTC; only for a draft from plain files. */
  utcOffsetMin?: number;
  /** A manifest to follow, instead of a draft from plain files; its paths count from the folder that was chosen. */
  manifest?: StudyManifest;
}

export interface AttributeFilesResult extends AttributeResult {
  /** What the draft believed or left out, in words. */
  draftNotes: string[];
}

const MOST_WORKERS = 4;

/**
 * Finds every call in files that a person chose or dropped and says who made it. Files are read by slices and may be of any size.
 * @param files plain files, from which a study is drafted (see `draftFiles`), or a list that says which file is whose
 * @throws VolaryError 'bad-study' or 'bad-table' about the list, 'no-data' where no file can be used, 'not-fit' with fewer than two usable tracks,
 *   'missing' where the kernels cannot be loaded, 'interrupted'
 * @example const result = await attributeFiles(input.files, { onProgress: (stage, done, total) => show(stage, done / total) });
 */
export async function attributeFiles(files: Iterable<File> | readonly BirdFile[], options: AttributeFilesOptions = {}): Promise<AttributeFilesResult> {
  const { study, notes } = await openStudyOfFiles([...files], options);
  const workers = options.workers ?? Math.min(MOST_WORKERS, navigator.hardwareConcurrency || 1);
  return { ...(await attributeFileStudy(study, { ...options, workers })), draftNotes: notes };
}

/**
 * Finds every call on tracks that are in memory and says who made it.
 * @param input birds, their signals and the sample rate
 * @throws VolaryError 'bad-study', 'not-fit', 'missing' where the kernels cannot be loaded, 'interrupted'
 * @example const result = await attributeTracks({ birds: ['red', 'blue'], signals: [red, blue], sampleRateHz: 44100 });
 */
export async function attributeTracks(input: TracksInput, options: BrowserOptions = {}): Promise<AttributeResult> {
  const study = openTracks(input);
  if (!options.workers) return attributeInline(await loadKernels(options.kernels), study, options);
  // Blobs reach workers without a copy for each; 32-bit float keeps every sample as it is.
  const files = new Map(input.birds.map((bird, k) => [bird, new Blob([buildWavFile({ sampleRateHz: input.sampleRateHz, encoding: 'float32' }, [input.signals[k]]) as BlobPart])]));
  return attributeFileStudy(await openFiles(study.manifest, files), options);
}

async function attributeFileStudy(study: FileStudy, options: BrowserOptions): Promise<AttributeResult> {
  const kernels = await loadKernels(options.kernels);
  if (!options.workers || study.timeline.tracks.length < 2) return attributeInline(kernels, study, options);
  return attributePooled(kernels, createBrowserPool(kernels, study, options.workers), study, options);
}

async function openStudyOfFiles(files: (File | BirdFile)[], options: AttributeFilesOptions): Promise<{ study: FileStudy; notes: string[] }> {
  const plain = files.filter((f): f is File => f instanceof File);
  if (plain.length < files.length) {
    if (plain.length > 0) throw new VolaryError('bad-option', { what: 'plain files among files of birds', expected: 'one or the other' });
    return { study: await openBirdFiles(files as BirdFile[], options.name, options.startUtc), notes: [] };
  }
  if (options.manifest !== undefined) return { study: await openFilesByManifest(options.manifest, plain), notes: [] };
  const draft = await draftFiles(plain, options);
  const notes = [...draft.unusable, ...draft.notes];
  if (!draft.manifest) throw new VolaryError('no-data', { what: 'no file can be used', got: draft.unusable[0] ?? `${plain.length} files`, expected: 'one mono file per bird, or files with a channel per bird' });
  return { study: await openFiles(draft.manifest, draft.files), notes };
}
