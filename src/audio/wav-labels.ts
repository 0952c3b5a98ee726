import { VolaryError } from '../schema/errors.js';

/** A named moment or stretch of a sound file. */
export interface WavLabel {
  startFrame: number;
  /** First frame after the stretch; absent for a moment. */
  endFrame?: number;
  text: string;
}

/** Position fields of cue points have 32 bits. */
const MAX_CUE_FRAME = 0xffffffff;

/**
 * Builds a 'cue ' chunk and a LIST of type 'adtl' with one 'labl' per label and one 'ltxt' (purpose 'rgn ') per stretch.
 * Texts are UTF-8. Points are numbered from 1 in the order given.
 * @throws VolaryError 'bad-option' for a label outside what the chunk can hold
 */
export function buildLabelChunks(labels: readonly WavLabel[]): Uint8Array {
  if (labels.length === 0) return new Uint8Array(0);
  for (const label of labels) checkLabel(label);
  const points = new ChunkBytes('cue ').u32(labels.length);
  labels.forEach((label, i) => points.u32(i + 1).u32(label.startFrame).ascii('data').u32(0).u32(0).u32(label.startFrame));
  const list = new ChunkBytes('LIST').ascii('adtl');
  labels.forEach((label, i) => list.raw(new ChunkBytes('labl').u32(i + 1).raw(encodeText(label.text)).finish()));
  labels.forEach((label, i) => {
    if (label.endFrame !== undefined) list.raw(new ChunkBytes('ltxt').u32(i + 1).u32(label.endFrame - label.startFrame).ascii('rgn ').u32(0).u32(0).finish());
  });
  return concatBytes([points.finish(), list.finish()]);
}

function checkLabel({ startFrame, endFrame, text }: WavLabel): void {
  const last = endFrame ?? startFrame;
  const isRight = Number.isSafeInteger(startFrame) && Number.isSafeInteger(last) && startFrame >= 0 && last >= startFrame && last <= MAX_CUE_FRAME;
  if (!isRight) throw new VolaryError('bad-option', { what: 'label cannot be written', where: JSON.stringify(text), got: `frames ${startFrame} to ${last}`, expected: `whole frames in order, up to ${MAX_CUE_FRAME}` });
}

function encodeText(text: string): Uint8Array {
  return new TextEncoder().encode(`${text.replaceAll('\0', '')}\0`);
}

/** Collects the payload of one RIFF chunk, little-endian. */
export class ChunkBytes {
  private readonly bytes: number[] = [];

  constructor(private readonly id: string) {}

  ascii(text: string): this {
    for (let i = 0; i < text.length; i++) this.bytes.push(text.charCodeAt(i) & 255);
    return this;
  }

  u16(value: number): this { return this.little(value, 2); }
  u32(value: number): this { return this.little(value, 4); }
  u64(value: number): this { return this.little(value, 8); }

  raw(bytes: Uint8Array): this {
    for (const b of bytes) this.bytes.push(b);
    return this;
  }

  /** Text in a field of fixed width, filled up with NUL. */
  field(text: string, width: number): this {
    const encoded = Array.from(text.slice(0, width), (c) => (c >= ' ' && c <= '~' ? c.charCodeAt(0) : 0x3f));
    for (let i = 0; i < width; i++) this.bytes.push(encoded[i] ?? 0);
    return this;
  }

  /** Identifier, size, payload and, after an odd payload, the pad byte. */
  finish(): Uint8Array {
    const size = this.bytes.length;
    const header = new ChunkBytes('');
    header.ascii(this.id).u32(size);
    return Uint8Array.from([...header.bytes, ...this.bytes, ...(size % 2 ? [0] : [])]);
  }

  /** The bytes as they are, without identifier and size. */
  finishRaw(): Uint8Array { return Uint8Array.from(this.bytes); }

  private little(value: number, width: number): this {
    for (let i = 0, rest = value; i < width; i++, rest = Math.floor(rest / 256)) this.bytes.push(rest % 256);
    return this;
  }
}

export function concatBytes(parts: readonly Uint8Array[]): Uint8Array {
  const all = new Uint8Array(parts.reduce((sum, part) => sum + part.length, 0));
  let offset = 0;
  for (const part of parts) {
    all.set(part, offset);
    offset += part.length;
  }
  return all;
}
