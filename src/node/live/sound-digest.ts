/** Tells whether a file that a run goes on with is the recording that it had heard. */
import { createHash } from 'node:crypto';
import type { FileHandle } from 'node:fs/promises';
import { quoteName, VolaryError } from '../../schema/errors.js';

/** What a recording was where it begins and where a run stopped: neither changes while the recorder goes on writing. */
export interface SoundDigest {
  /** Sound from the beginning that `head` is the digest of, bytes. */
  headBytes: number;
  head: string;
  /** Sound before the place where a run goes on, bytes; `before` is the digest of the last of them. */
  placeBytes: number;
  before: string;
}

const HEAD_BYTES = 65536;
const BEFORE_BYTES = 4096;

/**
 * @param soundByte where the sound begins in the file
 * @param heardBytes sound that was read so far
 * @param placeBytes sound before the place where a run would go on
 */
export async function digestSound(handle: FileHandle, soundByte: number, heardBytes: number, placeBytes: number): Promise<SoundDigest> {
  const headBytes = Math.min(HEAD_BYTES, heardBytes), beforeBytes = Math.min(BEFORE_BYTES, placeBytes);
  return {
    headBytes, head: await digestBytes(handle, soundByte, headBytes),
    placeBytes, before: await digestBytes(handle, soundByte + placeBytes - beforeBytes, beforeBytes),
  };
}

/** Throws VolaryError 'stale' where the file holds another recording than the one that was heard. */
export async function requireSameSound(handle: FileHandle, soundByte: number, name: string, heard: SoundDigest): Promise<void> {
  const found = await digestSound(handle, soundByte, heard.headBytes, heard.placeBytes);
  if (found.head === heard.head && found.before === heard.before) return;
  throw new VolaryError('stale', {
    where: quoteName(name), what: 'is another recording than the one that was heard before',
    got: found.head === heard.head ? `other sound before byte ${soundByte + heard.placeBytes}` : `other sound in its first ${heard.headBytes} bytes`,
    mend: 'put that recording back, choose another folder, or start anew with --force',
  });
}

async function digestBytes(handle: FileHandle, from: number, count: number): Promise<string> {
  const bytes = new Uint8Array(count);
  const { bytesRead } = await handle.read(bytes, 0, count, from);
  return createHash('sha256').update(bytes.subarray(0, bytesRead)).digest('hex');
}
