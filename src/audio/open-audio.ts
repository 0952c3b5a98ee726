import { quoteName, VolaryError } from '../schema/errors.js';
import { ByteWindow, readAscii } from './byte-window.js';
import { openFlac } from './flac-reader.js';
import type { AudioInfo, AudioReader, ByteSource } from './types.js';
import { openWav } from './wav-reader.js';
import { isWave64 } from './wave64-walk.js';

const EXPECTED = 'RIFF/WAVE, RF64, BW64, Wave64 or FLAC';
/** Formats that a user may meet and that are told by name: first bytes, offset, name. */
const FOREIGN: Array<[string, number, string]> = [
  ['OggS', 0, 'an Ogg file'], ['ID3', 0, 'an MP3 file'], ['\xff\xfb', 0, 'an MP3 file'], ['\xff\xf3', 0, 'an MP3 file'], ['FORM', 0, 'an AIFF file'],
  ['caff', 0, 'a CAF file'], ['ftyp', 4, 'an MP4 file'], ['RIFX', 0, 'a big-endian RIFX file'], ['\x1aE\xdf\xa3', 0, 'a Matroska file'],
  ['PK\x03\x04', 0, 'a ZIP archive'], ['wvpk', 0, 'a WavPack file'], ['\x30\x26\xb2\x75', 0, 'a Windows Media file'],
];
/** Size of the window for header reads; jumps between chunks read this much. */
const HEADER_WINDOW_BYTES = 16384;

/**
 * Opens a sound file by its content, whatever its name; only headers are read (for FLAC also the end of the file).
 * The reader owns the source: closing the reader closes it, and so does a refusal.
 * @throws VolaryError 'unsupported-audio' (another format or codec), 'bad-audio' (damaged or impossible header), 'unreadable'
 * @example const reader = await openAudio(await openFileSource('B1.wav')); await reader.readFrames(0, 1000, [new Float32Array(1000)])
 */
export async function openAudio(source: ByteSource): Promise<AudioReader> {
  try {
    return await openByContent(source);
  } catch (error) {
    await source.close();
    if (error instanceof VolaryError) throw error;
    throw new VolaryError('unreadable', { what: 'could not be read', where: quoteName(source.name), got: error instanceof Error ? error.message : String(error) }, { cause: error });
  }
}

/** Opens, returns what the headers say, and closes. */
export async function readAudioInfo(source: ByteSource): Promise<AudioInfo> {
  const reader = await openAudio(source);
  await reader.close();
  return reader.info;
}

async function openByContent(source: ByteSource): Promise<AudioReader> {
  const window = new ByteWindow(source, HEADER_WINDOW_BYTES);
  const where = quoteName(source.name);
  if (source.sizeBytes === 0) throw new VolaryError('bad-audio', { what: 'the file is empty', where, got: '0 bytes', expected: EXPECTED });
  const head = (await window.view(0, 40)).slice();
  const id = readAscii(head, 0, 4);
  const form = readAscii(head, 8, 4);
  if ((id === 'RIFF' || id === 'RF64' || id === 'BW64') && form === 'WAVE') return openWav(source, window, id);
  if (isWave64(head)) return openWav(source, window, 'Wave64');
  const flacStart = await findFlacStart(window, head);
  if (flacStart !== undefined) return openFlac(source, window, flacStart);
  throw new VolaryError('unsupported-audio', { what: 'not a sound file that can be read', where, got: describeContent(head, id), expected: EXPECTED });
}

/** An ID3v2 tag may stand before a FLAC stream; its size has 7 bits per byte. */
async function findFlacStart(window: ByteWindow, head: Uint8Array): Promise<number | undefined> {
  if (readAscii(head, 0, 4) === 'fLaC') return 0;
  if (readAscii(head, 0, 3) !== 'ID3' || head.length < 10) return undefined;
  const start = 10 + ((head[6] & 127) << 21) + ((head[7] & 127) << 14) + ((head[8] & 127) << 7) + (head[9] & 127);
  return readAscii(await window.view(start, 4), 0, 4) === 'fLaC' ? start : undefined;
}

function describeContent(head: Uint8Array, id: string): string {
  if (head.every((b) => b === 0)) return 'zeros';
  if (id === 'RIFF' || id === 'RF64' || id === 'BW64') return head.length < 12 ? `${head.length} bytes` : `${id} of type ${JSON.stringify(readAscii(head, 8, 4))}`;
  const foreign = FOREIGN.find(([text, offset]) => readAscii(head, offset, text.length) === text);
  if (foreign) return foreign[2];
  return `first bytes ${JSON.stringify(readAscii(head, 0, 8).replace(/[^\x20-\x7e]/g, '?'))}`;
}

/** One line for people: 'RIFF/WAVE, 44100 Hz, 1 channel, 16-bit PCM, 60.0 s'. */
export function describeAudio(info: AudioInfo): string {
  const container = info.container === 'RIFF' ? 'RIFF/WAVE' : info.container;
  const valid = info.validBits !== info.bitsPerSample ? ` (${info.validBits} valid)` : '';
  const coding = `${info.bitsPerSample}-bit ${info.sampleFormat === 'float' ? 'float' : 'PCM'}${valid}`;
  const channels = `${info.channelCount} channel${info.channelCount === 1 ? '' : 's'}`;
  return `${container}, ${info.sampleRateHz} Hz, ${channels}, ${coding}, ${(info.frameCount / info.sampleRateHz).toFixed(1)} s`;
}
