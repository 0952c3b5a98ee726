import { readAscii, viewOf } from './byte-window.js';
import type { ByteWindow } from './byte-window.js';
import { walkChunks } from './chunk-walk.js';
import type { ChunkHeader } from './chunk-walk.js';
import type { RiffWalk } from './riff-walk.js';

/** GUIDs of Wave64 are a lower-case four-character code and a constant tail; the file's own GUID has a tail of its own. */
const RIFF_GUID = [0x72, 0x69, 0x66, 0x66, 0x2e, 0x91, 0xcf, 0x11, 0xa5, 0xd6, 0x28, 0xdb, 0x04, 0xc1, 0x00, 0x00];
const CHUNK_TAIL = [0xf3, 0xac, 0xd3, 0x11, 0x8c, 0xd1, 0x00, 0xc0, 0x4f, 0x8e, 0xdb, 0x8a];
const HEADER_BYTES = 24;
const ALL_ONES_64 = 0xffffffffffffffffn;

export function isWave64(bytes: Uint8Array): boolean {
  return bytes.length >= 40 && RIFF_GUID.every((b, i) => bytes[i] === b) && readAscii(bytes, 24, 4) === 'wave' && CHUNK_TAIL.every((b, i) => bytes[28 + i] === b);
}

/** Walks a Wave64 file: 16-byte GUID, 64-bit size that includes the 24-byte header, chunks on 8-byte boundaries. */
export async function walkWave64(window: ByteWindow): Promise<RiffWalk> {
  const total = viewOf(await window.view(0, 40)).getBigUint64(16, true);

  async function readHeader(position: number): Promise<ChunkHeader | undefined> {
    const bytes = await window.view(position, HEADER_BYTES);
    if (bytes.length < HEADER_BYTES) return undefined;
    const size = viewOf(bytes).getBigUint64(16, true);
    const isKnown = CHUNK_TAIL.every((b, i) => bytes[4 + i] === b);
    // A size of 0 or all ones was never filled in; 1 to 23 cannot be, as the header counts itself.
    const isOpen = size === 0n || size === ALL_ONES_64;
    if (!isOpen && size < BigInt(HEADER_BYTES)) return undefined;
    if (isOpen && !isKnown) return undefined;
    return { id: isKnown ? readAscii(bytes, 0, 4) : 'unknown', headerBytes: HEADER_BYTES, declaredBytes: isOpen ? undefined : size - BigInt(HEADER_BYTES) };
  }

  const list = await walkChunks(window, { firstByte: 40, readHeader, nextChunk: async (end) => Math.ceil(end / 8) * 8 });
  const isOpen = total === 0n || total === ALL_ONES_64 || total < BigInt(HEADER_BYTES);
  // Reported like RIFF's: the size after the first 8 bytes.
  return { ...list, riffBytes: isOpen ? undefined : total - 8n };
}
