import type { ByteWindow } from './byte-window.js';

/** One chunk as found; only those that a reader of samples needs are kept. */
export interface Chunk {
  id: string;
  /** First byte of the payload. */
  startByte: number;
  /** Payload size as declared; undefined where the writer never filled it in. */
  declaredBytes: bigint | undefined;
  /** Payload bytes that the file really holds. */
  presentBytes: number;
}

export interface ChunkHeader {
  id: string;
  headerBytes: number;
  declaredBytes: bigint | undefined;
}

export type WalkStop =
  /** The last chunk ends where the file ends. */
  | 'end'
  /** The data chunk reaches the end of the file or beyond. */
  | 'data'
  /** What follows is no chunk. */
  | 'no-chunk'
  /** A chunk other than the data declares more than the file holds. */
  | 'cut'
  | 'too-many';

export interface ChunkList {
  chunks: Chunk[];
  stop: WalkStop;
  /** Where the walk stopped: the first byte that no chunk explains. */
  stopByte: number;
  /** Identifier and declared size at the stop, for the message. */
  stopChunk?: ChunkHeader;
}

export interface ChunkDialect {
  firstByte: number;
  /** Reads the header at `position`, or undefined where no header can be. Called once per chunk, in file order. */
  readHeader(position: number): Promise<ChunkHeader | undefined>;
  /** First byte after the payload's padding. */
  nextChunk(payloadEnd: number, payloadBytes: number): Promise<number>;
}

const KEPT = new Set(['fmt ', 'data', 'bext', 'ds64']);
/** No real file has more; bounds the work on a crafted one (common practice, no source). */
const MAX_CHUNKS = 4096;
const MAX_KEPT_PER_ID = 8;

/**
 * Walks the top level of a chunk file from header to header. Payloads are not read and lists are not entered, so that
 * huge, nested or lying chunks cost nothing; every step advances and the number of steps is bounded.
 */
export async function walkChunks(window: ByteWindow, dialect: ChunkDialect): Promise<ChunkList> {
  const chunks: Chunk[] = [];
  const fileEnd = window.sizeBytes;
  let position = dialect.firstByte;
  for (let count = 0; position < fileEnd; count++) {
    if (count >= MAX_CHUNKS) return { chunks, stop: 'too-many', stopByte: position };
    const header = await dialect.readHeader(position);
    if (!header) return { chunks, stop: 'no-chunk', stopByte: position };
    const startByte = position + header.headerBytes;
    const room = Math.max(0, fileEnd - startByte);
    const declared = header.declaredBytes === undefined ? Infinity : Number(header.declaredBytes);
    const chunk: Chunk = { id: header.id, startByte, declaredBytes: header.declaredBytes, presentBytes: Math.min(declared, room) };
    const isCut = declared > room;
    if (KEPT.has(header.id) && (!isCut || header.id === 'data') && chunks.filter((c) => c.id === header.id).length < MAX_KEPT_PER_ID) chunks.push(chunk);
    if (isCut) return { chunks, stop: header.id === 'data' ? 'data' : 'cut', stopByte: header.id === 'data' ? fileEnd : position, stopChunk: header };
    position = await dialect.nextChunk(startByte + declared, declared);
  }
  return { chunks, stop: 'end', stopByte: fileEnd };
}
