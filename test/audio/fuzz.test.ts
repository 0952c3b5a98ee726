// Mutated small files: whatever the bytes, a reader ends, refuses with its own error or delivers exactly what it announces.
import { describe, expect, it } from 'vitest';
import { createBytesSource } from '../../src/audio/bytes-source.js';
import { openAudio } from '../../src/audio/open-audio.js';
import { VolaryError } from '../../src/schema/errors.js';
import { buildFlac } from './build-flac.js';
import { ascii, chunk, countReads, createNoise, ds64, extension, f32, format, i16, i24, riff, u16, u32, wave64, wave64Chunk } from './build-files.js';

const ramp = Array.from({ length: 60 }, (_, i) => i * 300 - 9000);
const wave64Format = [...u16(1), ...u16(1), ...u32(8000), ...u32(16000), ...u16(2), ...u16(16)];
const SEEDS: Uint8Array[] = [
  riff([format(), chunk('data', i16(...ramp))]),
  riff([chunk('JUNK', [1, 2, 3]), format({ channels: 2, bits: 24 }), chunk('LIST', ascii('INFO')), chunk('data', i24(...ramp)), chunk('bext', new Array(610).fill(48))]),
  riff([format({ tag: 0xfffe, bits: 32, extension: extension(3, 32) }), chunk('data', f32(...ramp))]),
  riff([ds64(200n, 120n, 60n, [['junk', 4n]]), format(), chunk('data', i16(...ramp), 0xffffffff)], { id: 'RF64', size: 0xffffffff }),
  wave64([wave64Chunk('fmt ', wave64Format), wave64Chunk('data', i16(...ramp)), wave64Chunk('junk', [1, 2, 3])]),
  buildFlac([ramp], { coding: 'rice' }).bytes,
  buildFlac([ramp, ramp], { bits: 20, blockLengths: [20, 17, 23], blocks: [[3, new Array(18).fill(0)]] }).bytes,
  buildFlac([ramp], { total: 0, isTerse: true }).bytes,
];
const EVIL = [0, 1, 0x7f, 0x80, 0xff, 0xfe, 0xf8];

function mutate(seed: Uint8Array, random: (below: number) => number): Uint8Array {
  let bytes = seed.slice();
  for (let k = 1 + random(4); k > 0 && bytes.length > 0; k--) {
    const at = random(random(2) ? Math.min(80, bytes.length) : bytes.length);
    const kind = random(6);
    if (kind === 0) bytes[at] ^= 1 << random(8);
    else if (kind === 1) bytes[at] = EVIL[random(EVIL.length)];
    else if (kind === 2) bytes.fill(random(2) ? 0xff : 0, at, at + 4);
    else if (kind === 3) bytes = bytes.slice(0, at);
    else if (kind === 4) bytes = Uint8Array.from([...bytes.subarray(0, at), ...bytes.subarray(at + 1 + random(20))]);
    else bytes = Uint8Array.from([...bytes.subarray(0, at), ...bytes.subarray(random(bytes.length)), ...bytes.subarray(at)]);
  }
  return bytes;
}

async function readWhatever(bytes: Uint8Array): Promise<'refused' | 'read'> {
  const source = countReads(createBytesSource(bytes, 'mutant'));
  try {
    const reader = await openAudio(source);
    const { info } = reader;
    expect(Number.isSafeInteger(info.frameCount) && info.frameCount >= 0).toBe(true);
    const into = Array.from({ length: info.channelCount }, () => new Float32Array(1000));
    for (const start of [0, 13, Math.max(0, info.frameCount - 7)]) {
      expect(await reader.readFrames(start, 1000, into)).toBe(Math.max(0, Math.min(1000, info.frameCount - start)));
      expect(into.every((c) => c.every(Number.isFinite))).toBe(true);
    }
    expect(reader.lostFrames).toBeLessThanOrEqual(info.frameCount);
    expect(info.warnings.length).toBeLessThanOrEqual(12);
    expect(info.warnings.every((line) => line.length < 300 && !/[\r\n]/.test(line))).toBe(true);
    await reader.close();
    return 'read';
  } catch (error) {
    if (!(error instanceof VolaryError)) throw error;
    expect(error.code).not.toBe('internal');
    expect(error.message).not.toMatch(/\n/);
    expect(source.isClosed).toBe(true);
    return 'refused';
  } finally {
    expect(source.largestRead).toBeLessThanOrEqual(1 << 20);
  }
}

describe('2000 mutated files', () => {
  it.each(SEEDS.map((seed, i) => [i, seed] as const))('of kind %i', async (index, seed) => {
    const noise = createNoise(1000 + index);
    const random = (below: number) => Math.floor(noise() * below);
    const outcomes = { refused: 0, read: 0 };
    expect(await readWhatever(seed)).toBe('read');
    for (let k = 0; k < 250; k++) {
      const mutant = mutate(seed, random);
      const outcome = await readWhatever(mutant).catch((error: unknown) => {
        throw new Error(`mutant ${k}: ${Buffer.from(mutant).toString('hex').slice(0, 400)}`, { cause: error });
      });
      outcomes[outcome]++;
    }
    // Both ways out must have been taken, or the mutations prove nothing.
    expect(Math.min(outcomes.refused, outcomes.read)).toBeGreaterThan(10);
  });
});
