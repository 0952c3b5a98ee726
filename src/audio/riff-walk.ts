import { viewOf } from './byte-window.js';
import type { ByteWindow } from './byte-window.js';
import { walkChunks } from './chunk-walk.js';
import type { ChunkHeader, ChunkList } from './chunk-walk.js';
import { isChunkId, readChunkId } from './wav-format.js';

/** A 32-bit size of all ones: 'see the 64-bit table', or never filled in. */
const ALL_ONES_32 = 0xffffffff;
const ALL_ONES_64 = 0xffffffffffffffffn;
/** Entries of the 64-bit size table that are looked at, whatever the table declares. */
const MAX_TABLE_ENTRIES = 1024;

interface SizeTable {
  riffBytes: bigint;
  dataBytes: bigint;
  others: Map<string, bigint>;
}

export interface RiffWalk extends ChunkList {
  /** Size after the first 8 bytes of the file, undefined where it was never filled in. */
  riffBytes: bigint | undefined;
}

/**
 * Walks RIFF, RF64 and BW64 files (EBU Tech 3306 Annex A; ITU-R BS.2088 section 4). A 64-bit size is used where the 32-bit
 * field is all ones and a ds64 chunk is there.
 */
export async function walkRiff(window: ByteWindow, warnings: string[]): Promise<RiffWalk> {
  const riff32 = viewOf(await window.view(0, 12)).getUint32(4, true);
  let table: SizeTable | undefined;

  async function readHeader(position: number): Promise<ChunkHeader | undefined> {
    const bytes = await window.view(position, 8);
    if (bytes.length < 8 || !isChunkId(bytes, 0)) return undefined;
    const id = readChunkId(bytes, 0);
    const size32 = viewOf(bytes).getUint32(4, true);
    if (id === 'ds64' && !table) table = await readSizeTable(window, position + 8, size32, warnings);
    return { id, headerBytes: 8, declaredBytes: size32 === ALL_ONES_32 ? lookUpSize(table, id) : BigInt(size32) };
  }

  const list = await walkChunks(window, { firstByte: 12, readHeader, nextChunk: (end) => skipPadByte(window, end, warnings) });
  const riff = riff32 === ALL_ONES_32 ? table?.riffBytes : BigInt(riff32);
  return { ...list, riffBytes: riff === 0n || riff === ALL_ONES_64 ? undefined : riff };
}

function lookUpSize(table: SizeTable | undefined, id: string): bigint | undefined {
  const size = id === 'data' ? table?.dataBytes : table?.others.get(id);
  return size === ALL_ONES_64 ? undefined : size;
}

async function readSizeTable(window: ByteWindow, start: number, declared: number, warnings: string[]): Promise<SizeTable | undefined> {
  const bytes = await window.view(start, Math.min(declared, 28 + 12 * MAX_TABLE_ENTRIES));
  if (bytes.length < 28) {
    warnings.push(`64-bit size table has ${bytes.length} bytes, expected at least 28; ignored`);
    return undefined;
  }
  const view = viewOf(bytes);
  const others = new Map<string, bigint>();
  const entries = Math.min(view.getUint32(24, true), Math.floor((bytes.length - 28) / 12));
  for (let i = 0, p = 28; i < entries; i++, p += 12) others.set(readChunkId(bytes, p), view.getBigUint64(p + 4, true));
  return { riffBytes: view.getBigUint64(0, true), dataBytes: view.getBigUint64(8, true), others };
}

/** A chunk of odd size is followed by one pad byte; some writers leave it out, which shows when only without it a chunk follows. */
async function skipPadByte(window: ByteWindow, payloadEnd: number, warnings: string[]): Promise<number> {
  if (payloadEnd % 2 === 0) return payloadEnd;
  const bytes = await window.view(payloadEnd, 9);
  const fits = (shift: number) => bytes.length >= shift + 8 && isChunkId(bytes, shift) && payloadEnd + shift + 8 + viewOf(bytes).getUint32(shift + 4, true) <= window.sizeBytes;
  if (bytes[0] === 0 || !fits(0) || fits(1)) return payloadEnd + 1;
  warnings.push(`no pad byte after the odd chunk that ends at byte ${payloadEnd}; read on with the chunk '${readChunkId(bytes, 0)}' right there`);
  return payloadEnd;
}
