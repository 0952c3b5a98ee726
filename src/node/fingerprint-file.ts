/** What tells one recording from another without reading all of it. */
import { createHash, type Hash } from 'node:crypto';
import { open, stat, type FileHandle } from 'node:fs/promises';

const END_BYTES = 65536;
const BLOCK_BYTES = 16384;
/** Blocks looked at in a file, and in all files of a study together: every one may cost a move of a disk's head. An odd number: one lies in the middle. */
const MOST_BLOCKS = 65;
const LEAST_BLOCKS = 9;
const BLOCKS_OF_STUDY = 16384;

/** Size of a file and a digest of its first and last 64 KiB; null where it cannot be read. */
export function fingerprintFile(path: string): Promise<{ sizeBytes: number; sha256Ends: string } | null> {
  return readFrom(path, async (handle, sizeBytes) => {
    const hash = createHash('sha256'), length = Math.min(END_BYTES, sizeBytes);
    await takeBlock(handle, hash, 0, length);
    await takeBlock(handle, hash, sizeBytes - length, length);
    return { sizeBytes, sha256Ends: hash.digest('hex') };
  });
}

/**
 * Digest of blocks spread evenly over a file from its beginning to its end, all of a small one: another take, filter or gain shows. It is of
 * content alone, for times of change differ between machines and copies. Null where it cannot be read.
 */
export function sampleFile(path: string, blockCount: number): Promise<string | null> {
  return readFrom(path, async (handle, sizeBytes) => {
    const hash = createHash('sha256');
    if (sizeBytes <= blockCount * BLOCK_BYTES) await takeBlock(handle, hash, 0, sizeBytes);
    else for (let k = 0; k < blockCount; k++) await takeBlock(handle, hash, Math.floor((k * (sizeBytes - BLOCK_BYTES)) / (blockCount - 1)), BLOCK_BYTES);
    return hash.digest('hex');
  });
}

/** How many blocks to sample of each file of a study. */
export function countSampleBlocks(fileCount: number): number {
  const share = Math.floor(BLOCKS_OF_STUDY / Math.max(1, fileCount));
  return Math.max(LEAST_BLOCKS, Math.min(MOST_BLOCKS, share % 2 === 1 ? share : share - 1));
}

async function readFrom<T>(path: string, work: (handle: FileHandle, sizeBytes: number) => Promise<T>): Promise<T | null> {
  try {
    const info = await stat(path);
    if (!info.isFile()) return null;
    const handle = await open(path, 'r');
    try {
      return await work(handle, info.size);
    } finally {
      await handle.close();
    }
  } catch {
    return null;
  }
}

async function takeBlock(handle: FileHandle, hash: Hash, offset: number, length: number): Promise<void> {
  const bytes = Buffer.alloc(length);
  let filled = 0;
  while (filled < length) {
    const { bytesRead } = await handle.read(bytes, filled, length - filled, offset + filled);
    if (bytesRead === 0) break;
    filled += bytesRead;
  }
  hash.update(bytes);
}
