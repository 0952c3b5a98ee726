import { readFile, stat } from 'node:fs/promises';
import { basename, dirname, isAbsolute, join, relative, resolve, sep } from 'node:path';
import { VolaryError } from '../schema/errors.js';
import { CHANNEL_LIST_NAME } from '../study/channel-list.js';
import { draftStudy } from '../study/draft-study.js';
import type { Draft } from '../study/draft-study.js';
import { readHeaders } from '../study/read-headers.js';
import { buildTimeline } from '../study/timeline.js';
import type { Timeline } from '../study/timeline.js';
import { findAudioFiles } from './find-audio-files.js';
import { openAudioFile } from './study-files.js';

export interface FolderDraft {
  draft: Draft;
  /** How the drafted study lies in time; undefined where nothing can be used. */
  timeline: Timeline | undefined;
}

/**
 * Drafts a study of a folder, with paths relative to where its manifest will lie.
 * @throws VolaryError about the folder or its channels.csv; files that cannot be used are named in the draft
 */
export async function draftFolder(
  folder: string,
  manifestPath: string,
  options: { name?: string; utcOffsetMin?: number } = {},
  onHeader?: (done: number, total: number) => void,
): Promise<FolderDraft> {
  const content = await findAudioFiles(folder);
  const headers = await readHeaders(content.soundPaths, (path) => openAudioFile(join(folder, path)), onHeader);
  const channelList = await readChannelList(join(folder, CHANNEL_LIST_NAME));
  const draft = draftStudy({ name: options.name ?? basename(resolve(folder)), headers, channelList, utcOffsetMin: options.utcOffsetMin });
  draft.unusable.unshift(...content.unusable);
  if (!draft.manifest) return { draft, timeline: undefined };
  const timeline = buildTimeline(draft.manifest, headers);
  const prefix = pathBetween(dirname(resolve(manifestPath)), resolve(folder));
  for (const track of draft.manifest.tracks) for (const file of track.files) file.path = prefix ? `${prefix}/${file.path}` : file.path;
  return { draft, timeline };
}

/** The way from one folder to another with '/'; absolute where there is none (another drive). */
function pathBetween(from: string, to: string): string {
  const way = relative(from, to);
  return (isAbsolute(way) ? to : way).split(sep).join('/').replace(/\/$/, '');
}

async function readChannelList(path: string): Promise<string | undefined> {
  try {
    // A pipe of that name would block a read for ever.
    return (await stat(path)).isFile() ? await readFile(path, 'utf8') : undefined;
  } catch (error) {
    const code = (error as NodeJS.ErrnoException).code;
    if (code === 'ENOENT') return undefined;
    throw new VolaryError('unreadable', { where: JSON.stringify(path), what: 'cannot be read', got: code ?? String(error) });
  }
}
