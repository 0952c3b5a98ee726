import { openAudio } from '../audio/open-audio.js';
import { HEAD_BYTES, promisesSound, startsLikeSound } from '../audio/sound-names.js';
import type { AudioReader } from '../audio/types.js';
import type { OpenedStudy } from '../api/attribute-opened.js';
import { quoteName, VolaryError } from '../schema/errors.js';
import { CHANNEL_LIST_NAME } from '../study/channel-list.js';
import { draftStudy, type Draft } from '../study/draft-study.js';
import { requireSense, type StudyFile, type StudyManifest } from '../study/manifest.js';
import { readHeaders } from '../study/read-headers.js';
import { buildTimeline } from '../study/timeline.js';
import { createBlobSource } from './blob-source.js';

/** One file of a bird. Several files of a bird follow one another in the order given, unless they say when they start. */
export interface BirdFile {
  bird: string;
  file: Blob;
  /** Whose clock it follows; the first recorder named is the reference. Without it all files share one clock. */
  recorder?: string;
  /** The first channel is 1. Default 1. */
  channel?: number;
  /** Seconds since the study's start on the recorder's clock. */
  startSec?: number;
}

/** A study of files that a person chose or dropped; the files are read by slices, never whole. */
export interface FileStudy extends OpenedStudy {
  /** The files by their path as written in the manifest. */
  files: ReadonlyMap<string, Blob>;
}

export interface DraftFilesOptions {
  /** Name of the study. Default the chosen folder's. */
  name?: string;
  /** Minutes that the recorders' clocks were ahead of UTC; without it they are read as UTC. */
  utcOffsetMin?: number;
}

export interface FilesDraft extends Draft {
  files: ReadonlyMap<string, Blob>;
}

const ONLY_RECORDER = '1';
const NAME = /^\S([^]*\S)?$/;

/** Opens a file that a person chose, of whatever supported format and size. Throws VolaryError. */
export function openAudioBlob(file: Blob, name?: string): Promise<AudioReader> {
  return openAudio(createBlobSource(file, name));
}

/**
 * Drafts a study from files alone, by the rules of `volary draft`: one mono file per bird, channels of one file, series of files with a
 * time in the name, a sub-folder per recorder, or a channels.csv among the files. Nothing but headers is read.
 * @param files as an `<input type=file multiple>` or `webkitdirectory`, or a drop, gives them
 * @throws VolaryError 'bad-study' where two files have the same path, 'bad-table' about channels.csv
 */
export async function draftFiles(files: Iterable<File>, options: DraftFilesOptions = {}): Promise<FilesDraft> {
  const { folder, byPath } = await chooseSound(files);
  const headers = await readHeaders([...byPath.sound.keys()], (path) => openAudioBlob(byPath.sound.get(path)!, path));
  const channelList = await byPath.all.get(CHANNEL_LIST_NAME)?.text();
  const draft = draftStudy({ name: options.name ?? (folder || 'study'), headers, channelList, utcOffsetMin: options.utcOffsetMin });
  return { ...draft, files: byPath.sound };
}

/**
 * Lays out a study whose files are at hand; nothing but headers is read. A file of the manifest that is not there is a problem of the timeline.
 * @param manifest as `draft` writes it; paths are looked up in `files`
 * @throws VolaryError 'bad-study'
 */
export async function openFiles(manifest: StudyManifest, files: ReadonlyMap<string, Blob>): Promise<FileStudy> {
  const openReader = async (path: string): Promise<AudioReader> => {
    const file = files.get(path);
    if (!file) throw new VolaryError('missing', { where: quoteName(path), what: 'this file was not given' });
    return openAudioBlob(file, path);
  };
  const paths = [...new Set(manifest.tracks.flatMap((t) => t.files.map((f) => f.path)))];
  const timeline = buildTimeline(manifest, await readHeaders(paths, openReader));
  return { manifest, timeline, openReader, files };
}

/** Opens files by a manifest, as `draftFiles` or `parseManifest` gives it; paths count from the folder that was chosen. */
export async function openFilesByManifest(manifest: StudyManifest, files: Iterable<File>): Promise<FileStudy> {
  return openFiles(requireSense(manifest, manifest.name), (await chooseSound(files)).byPath.all);
}

/** Lays out a study from a list that says which file is whose. Throws VolaryError 'bad-study'. */
export async function openBirdFiles(list: readonly BirdFile[], name = 'study', startUtc?: string): Promise<FileStudy> {
  const where = 'files of birds';
  const paths = new Map<Blob, string>();
  const tracks = new Map<string, { bird: string; recorder: string; files: StudyFile[] }>();
  list.forEach((entry, k) => {
    const refuse = (what: string, got: unknown, expected: string): never => {
      throw new VolaryError('bad-study', { where: `${where}: [${k}]`, what, got: quoteName(String(got)), expected });
    };
    const { bird, file, channel = 1, startSec, recorder = ONLY_RECORDER } = entry;
    if (!(file instanceof Blob)) refuse('not a file', file, 'a File or Blob');
    if (!NAME.test(bird)) refuse('not a name', bird, 'text without blanks around it');
    if (!NAME.test(recorder)) refuse('not a name', recorder, 'text without blanks around it');
    if (!Number.isInteger(channel) || channel < 1) refuse('no such channel', channel, 'a whole number from 1');
    if (startSec !== undefined && !(Number.isFinite(startSec) && startSec >= 0)) refuse('no such start', startSec, 'seconds, 0 or more');
    const track = tracks.get(bird) ?? { bird, recorder, files: [] };
    if (track.recorder !== recorder) refuse('this bird has files on another recorder', recorder, track.recorder);
    tracks.set(bird, track);
    if (!paths.has(file)) paths.set(file, nameBlob(file, bird, new Set(paths.values())));
    track.files.push({ path: paths.get(file)!, channel, ...(startSec === undefined ? {} : { start_s: startSec }) });
  });
  const recorders = [...new Set([...tracks.values()].map((t) => t.recorder))].map((r) => ({ name: r }));
  const manifest: StudyManifest = { volary: 1, name, ...(startUtc ? { start: startUtc } : {}), recorders, tracks: [...tracks.values()] };
  return openFiles(requireSense(manifest, where), new Map([...paths].map(([file, path]) => [path, file])));
}

/** A path of its own for every file: two files may have the same name. */
function nameBlob(file: Blob, bird: string, taken: ReadonlySet<string>): string {
  const wanted = file instanceof File && file.name ? file.name : bird;
  let path = wanted;
  for (let n = 2; taken.has(path); n++) path = `${wanted} (${n})`;
  return path;
}

interface ChosenFiles { folder: string; byPath: { sound: Map<string, File>; all: Map<string, File> } }

/** Paths relative to the chosen folder; hidden files and what is no sound are left out of `sound`. */
async function chooseSound(files: Iterable<File>): Promise<ChosenFiles> {
  const list = [...files].map((file) => ({ file, path: file.webkitRelativePath || file.name }));
  const top = list[0]?.path.includes('/') ? list[0].path.slice(0, list[0].path.indexOf('/') + 1) : '';
  const folder = list.every((f) => f.path.startsWith(top)) ? top : '';
  const all = new Map<string, File>();
  const sound = new Map<string, File>();
  for (const { file, path: full } of list) {
    const path = full.slice(folder.length);
    if (path.split('/').some((part) => part.startsWith('.'))) continue;
    if (all.has(path)) throw new VolaryError('bad-study', { where: quoteName(path), what: 'two files have this name', mend: 'choose their folder instead, or say whose each file is' });
    all.set(path, file);
    if (promisesSound(path) || await holdsSound(file)) sound.set(path, file);
  }
  return { folder: folder.slice(0, -1), byPath: { sound, all } };
}

async function holdsSound(file: File): Promise<boolean> {
  // A folder that was dropped looks like a file and cannot be read.
  const head = await file.slice(0, HEAD_BYTES).arrayBuffer().catch(() => new ArrayBuffer(0));
  return startsLikeSound(new Uint8Array(head));
}
