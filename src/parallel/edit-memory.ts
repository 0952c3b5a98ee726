import type { BlockEdits, Edit } from '../separate/separate-piece.js';

/** Samples of a chunk: about what the edits of a block take. */
const CHUNK_SAMPLES = 2 ** 20;

/** Edits of a block as a worker tells of them: where each lies, and chunks that the other side has not seen yet. */
export interface PlacedEdits {
  fresh: readonly (readonly [chunk: number, memory: SharedArrayBuffer])[];
  /** Chunks that hold edits of this block, and of no other. */
  chunks: readonly number[];
  edits: readonly { track: number; startFrame: number; chunk: number; byteOffset: number; length: number }[];
}

/** Memory for edits on the worker's side, shared with the thread that applies them: nothing is copied on the way, and chunks that come back are used again. */
export class EditMemory {
  private readonly chunks: SharedArrayBuffer[] = [];
  private readonly numbers = new Map<unknown, number>();
  private readonly free: number[] = [];
  private used: number[] = [];
  private fresh: number[] = [];
  private takenSamples = 0;

  /** Begins a block; `freed` are the chunks that the other side needs no more. */
  begin(freed: readonly number[]): void {
    this.free.push(...freed);
    this.used = [];
    this.fresh = [];
  }

  /** Memory for so many samples, uninitialised. */
  take(count: number): Float32Array {
    let memory = this.chunks[this.used[this.used.length - 1]];
    if (!memory || 4 * (this.takenSamples + count) > memory.byteLength) memory = this.openChunk(count);
    const taken = new Float32Array(memory, 4 * this.takenSamples, count);
    this.takenSamples += count;
    return taken;
  }

  /** Where edits lie whose changes were taken from here. */
  place(edits: readonly Edit[]): PlacedEdits {
    return {
      fresh: this.fresh.map((n) => [n, this.chunks[n]]), chunks: this.used,
      edits: edits.map(({ track, startFrame, change }) => ({ track, startFrame, chunk: this.numbers.get(change.buffer)!, byteOffset: change.byteOffset, length: change.length })),
    };
  }

  private openChunk(count: number): SharedArrayBuffer {
    const at = this.free.findIndex((n) => this.chunks[n].byteLength >= 4 * count);
    const number = at >= 0 ? this.free.splice(at, 1)[0] : this.chunks.length;
    if (at < 0) {
      const memory = new SharedArrayBuffer(4 * Math.max(CHUNK_SAMPLES, count));
      this.chunks.push(memory);
      this.numbers.set(memory, number);
      this.fresh.push(number);
    }
    this.used.push(number);
    this.takenSamples = 0;
    return this.chunks[number];
  }
}

/** The other side of one worker's `EditMemory`. */
export class EditViews {
  private readonly chunks = new Map<number, SharedArrayBuffer>();
  private freed: number[] = [];

  /** The edits of an answer; their memory goes back to the worker when they are released. */
  open({ fresh, chunks, edits }: PlacedEdits): BlockEdits {
    for (const [number, memory] of fresh) this.chunks.set(number, memory);
    return {
      edits: edits.map(({ track, startFrame, chunk, byteOffset, length }) => ({ track, startFrame, change: new Float32Array(this.chunks.get(chunk)!, byteOffset, length) })),
      release: () => { this.freed.push(...chunks); },
    };
  }

  /** Chunks released since this was asked last. */
  takeFreed(): number[] {
    return this.freed.splice(0);
  }
}
