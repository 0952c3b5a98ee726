import { open, type FileHandle } from 'node:fs/promises';
import { isAbsolute, join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { CODING_BYTES, type LiveCoding } from '../../live/frame-ring.js';
import type { LiveInput } from '../../live/live-setup.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import { FileFeed, PipeFeed, type LiveFeed } from './feeds.js';
import { findSamplesEnd, looksLikeWav, readGrowingWav } from './growing-wav.js';

/** What is known of raw samples only from the user. */
export interface RawFormat {
  sampleRateHz?: number;
  coding?: LiveCoding;
  channelCount: number;
}

/** An input and how to open it at a frame of its own. */
export interface OpenedInput {
  input: LiveInput;
  /** False for a pipe: what was sent before cannot be had again. */
  isFile: boolean;
  /** @param keep told of all that arrives from a pipe */
  openFeed(firstFrame: number, keep?: (chunk: Uint8Array) => void): Promise<LiveFeed>;
}

/** Sound that may wait in memory before a pipe is held back, seconds. */
const MOST_WAITING_SEC = 20;
const LOOK_MS = 200;

/**
 * Finds out what an input is. A WAVE file is waited for until its head is written.
 * @throws VolaryError 'bad-option' where rate or encoding of raw samples are not known, 'missing', 'unreadable'
 */
export async function openInput(path: string, folder: string, raw: RawFormat, signal: AbortSignal): Promise<OpenedInput> {
  if (path === '-') {
    const input = describeRaw('standard input', path, raw);
    const mostBytes = Math.ceil(MOST_WAITING_SEC * input.sampleRateHz) * input.channelCount * CODING_BYTES[input.coding];
    return { input, isFile: false, openFeed: async (_, keep) => new PipeFeed(process.stdin, mostBytes, keep) };
  }
  const where = isAbsolute(path) ? path : join(folder, path);
  const handle = await openRegular(where);
  try {
    const head = new Uint8Array(4);
    await handle.read(head, 0, 4, 0);
    if (raw.coding || (!looksLikeWav(head) && (await handle.stat()).size > 4)) {
      const input = describeRaw(quoteName(where), path, raw);
      return { input, isFile: true, openFeed: (frame) => FileFeed.open(where, frame * input.channelCount * CODING_BYTES[input.coding]) };
    }
    for (;;) {
      const wav = await readGrowingWav(handle, where);
      if (wav) {
        const { sampleRateHz, channelCount, coding, dataByte } = wav;
        return {
          input: { path, sampleRateHz, channelCount, coding }, isFile: true,
          openFeed: (frame) => FileFeed.open(where, dataByte + frame * channelCount * CODING_BYTES[coding], (h, size) => findSamplesEnd(h, dataByte, size)),
        };
      }
      await sleep(LOOK_MS, undefined, { signal }).catch(() => { throw new VolaryError('interrupted', { where: quoteName(where), what: 'stopped before the head of the file was written' }); });
    }
  } finally {
    await handle.close();
  }
}

function describeRaw(where: string, path: string, raw: RawFormat): LiveInput {
  const need = (what: string, mend: string): never => { throw new VolaryError('bad-option', { where, what, mend }); };
  const sampleRateHz = raw.sampleRateHz ?? need('the sample rate of raw samples is not known', 'give it with --rate');
  const coding = raw.coding ?? need('the encoding of raw samples is not known', 'give it with --encoding');
  return { path, sampleRateHz, coding, channelCount: raw.channelCount };
}

async function openRegular(path: string): Promise<FileHandle> {
  try {
    const handle = await open(path, 'r');
    if ((await handle.stat()).isFile()) return handle;
    await handle.close();
  } catch (error) {
    const code = (error as NodeJS.ErrnoException).code;
    if (code === 'ENOENT') throw new VolaryError('missing', { where: quoteName(path), what: 'no such file', mend: 'start the recorder first' });
    throw new VolaryError('unreadable', { where: quoteName(path), what: 'cannot be read', got: code ?? String(error) });
  }
  throw new VolaryError('unreadable', { where: quoteName(path), what: 'is no regular file', mend: "a pipe is read from standard input: 'volary watch ... < PIPE'" });
}
