import { open, type FileHandle } from 'node:fs/promises';
import { isAbsolute, join } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { CODING_BYTES, CODING_NAMES, type LiveCoding } from '../../live/frame-ring.js';
import type { LiveInput } from '../../live/live-setup.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import { FileFeed, PipeFeed, type LiveFeed } from './feeds.js';
import { findSamplesEnd, looksLikeWav, readGrowingWav, type GrowingWav } from './growing-wav.js';

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
 * Finds out what an input is. A WAVE file is waited for until its head is written; what that says is what counts.
 * @throws VolaryError 'bad-option' where rate or encoding of raw samples are not known or contradict a WAVE file, 'missing', 'unreadable'
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
    for (;;) {
      // Before its first bytes are written nobody knows what a file will be.
      const head = new Uint8Array(4), { bytesRead } = await handle.read(head, 0, 4, 0);
      if (bytesRead === 4 && !looksLikeWav(head)) {
        const input = describeRaw(quoteName(where), path, raw);
        return { input, isFile: true, openFeed: (frame) => FileFeed.open(where, 0, frame * input.channelCount * CODING_BYTES[input.coding]) };
      }
      const wav = await readGrowingWav(handle, where);
      if (wav) {
        requireAgreement(where, raw, wav);
        const { sampleRateHz, channelCount, coding, dataByte } = wav;
        return {
          input: { path, sampleRateHz, channelCount, coding }, isFile: true,
          openFeed: (frame) => FileFeed.open(where, dataByte, frame * channelCount * CODING_BYTES[coding], (h, size) => findSamplesEnd(h, dataByte, size)),
        };
      }
      await sleep(LOOK_MS, undefined, { signal }).catch(() => { throw new VolaryError('interrupted', { where: quoteName(where), what: 'stopped before the head of the file was written' }); });
    }
  } finally {
    await handle.close();
  }
}

/** Options that say of a WAVE file what it does not say itself are a mistake about one of the two. Throws VolaryError 'bad-option'. */
function requireAgreement(path: string, raw: RawFormat, wav: GrowingWav): void {
  const compare = (option: string, got: string | undefined, expected: string): void => {
    if (got === undefined || got === expected) return;
    throw new VolaryError('bad-option', { where: option, what: `contradicts the head of ${quoteName(path)}, a WAVE file`, got, expected, mend: `leave ${option} away: a WAVE file says it itself` });
  };
  compare('--encoding', raw.coding && CODING_NAMES[raw.coding], CODING_NAMES[wav.coding]);
  compare('--rate', raw.sampleRateHz?.toString(), wav.sampleRateHz.toString());
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
