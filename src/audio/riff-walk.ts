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

  const pads = new PadBytes(window);
  const list = await walkChunks(window, { firstByte: 12, readHeader, nextChunk: (payloadEnd, payloadBytes) => pads.skip(payloadEnd, payloadBytes) });
  pads.report(warnings);
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

/**
 * A chunk of odd size is followed by one pad byte. Some writers leave it out, and from there on chunks may begin at odd bytes, so that only
 * a chunk's own size tells whether one is due, and what lies there whether it was written.
 */
class PadBytes {
  private readonly missing: string[] = [];
  private readonly extra: string[] = [];

  constructor(private readonly window: ByteWindow) {}

  /** First byte behind a payload and its pad byte. */
  async skip(payloadEnd: number, payloadBytes: number): Promise<number> {
    const isDue = payloadBytes % 2 === 1;
    if (!isDue && payloadEnd % 2 === 0) return payloadEnd;
    const bytes = await this.window.view(payloadEnd, 9);
    const [here, behind] = [0, 1].map((shift) => this.rateHeader(bytes, shift, payloadEnd));
    if (isDue) {
      if (bytes[0] === 0 || here <= behind) return payloadEnd + 1;
      this.missing.push(`no pad byte after the odd chunk that ends at byte ${payloadEnd}; read on with the chunk '${readChunkId(bytes, 0)}' right there`);
      return payloadEnd;
    }
    // Writers that pad to even bytes of the file do so where an earlier pad byte is missing.
    if (bytes[0] !== 0 || behind === 0) return payloadEnd;
    this.extra.push(`a pad byte at byte ${payloadEnd} after a chunk of even size; passed over`);
    return payloadEnd + 1;
  }

  /** One line for each kind, however many chunks are concerned. */
  report(warnings: string[]): void {
    for (const lines of [this.missing, this.extra]) {
      if (lines.length > 0) warnings.push(lines[0] + (lines.length > 1 ? `; so it is with ${lines.length} chunks` : ''));
    }
  }

  /** How much a place looks like a chunk: 0 not at all, 1 by its form, 2 by the name of one without which there is no sound. Samples may be cut short, other chunks end in the file. */
  private rateHeader(bytes: Uint8Array, shift: number, payloadEnd: number): number {
    if (bytes.length < shift + 8 || !isChunkId(bytes, shift)) return 0;
    const id = readChunkId(bytes, shift);
    if (id === 'data' || id === 'fmt ') return 2;
    return payloadEnd + shift + 8 + viewOf(bytes).getUint32(shift + 4, true) <= this.window.sizeBytes ? 1 : 0;
  }
}
