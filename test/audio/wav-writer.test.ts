import { WaveFile } from 'wavefile';
import { describe, expect, it } from 'vitest';
import { concatBytes } from '../../src/audio/wav-labels.js';
import { buildWavFile, buildWavHeader, buildWavTrailer, encodeFrames, writeWav } from '../../src/audio/wav-writer.js';
import type { WavEncoding, WavSpec } from '../../src/audio/wav-writer.js';
import { createNoise, readAll } from './build-files.js';

const spec = (more: Partial<WavSpec> = {}): WavSpec => ({ sampleRateHz: 48000, channelCount: 1, encoding: 'pcm16', frameCount: 3, ...more });

async function collect(pieces: AsyncIterable<Uint8Array>): Promise<Uint8Array> {
  const all: Uint8Array[] = [];
  for await (const piece of pieces) all.push(piece);
  return concatBytes(all);
}

/** Noise on the grid of the encoding, so that a round trip must be exact. */
function gridNoise(count: number, encoding: WavEncoding, seed: number): Float32Array {
  const noise = createNoise(seed);
  const full = { pcm16: 32768, pcm24: 8388608, float32: 16777216 }[encoding];
  return Float32Array.from({ length: count }, () => Math.floor((noise() * 2 - 1) * full) / full);
}

describe('writing', () => {
  // Full scale clips to the largest code and never wraps; ties go up as in Math.round.
  it('clips, rounds and silences what is no number', () => {
    const samples = Float32Array.of(1, 2, -1, -3, Infinity, NaN, 0.5 / 32768, -0.6 / 32768);
    expect(Array.from(new Int16Array(encodeFrames([samples], 'pcm16').buffer))).toEqual([32767, 32767, -32768, -32768, 32767, 0, 1, -1]);
    expect(Array.from(encodeFrames([Float32Array.of(1, -1, -1 / 8388608)], 'pcm24'))).toEqual([0xff, 0xff, 0x7f, 0, 0, 0x80, 0xff, 0xff, 0xff]);
  });

  it.each<[WavEncoding, number]>([['pcm16', 1], ['pcm24', 2], ['float32', 1], ['pcm16', 5], ['float32', 8], ['pcm24', 1]])('%s with %i channels comes back exactly, block by block', async (encoding, channelCount) => {
    const planes = Array.from({ length: channelCount }, (_, c) => gridNoise(101, encoding, c + 1));
    const blocks = [planes.map((p) => p.subarray(0, 40)), planes.map((p) => p.subarray(40, 41)), planes.map((p) => p.subarray(41))];
    const bytes = await collect(writeWav(spec({ channelCount, encoding, frameCount: 101 }), blocks));
    const { info, channels } = await readAll(bytes);
    expect([info.container, info.channelCount, info.frameCount, info.warnings]).toEqual(['RIFF', channelCount, 101, []]);
    expect(channels).toEqual(planes.map((p) => Array.from(p)));
    expect(bytes.length % 2).toBe(0);
    expect(bytes).toEqual(buildWavFile({ sampleRateHz: 48000, encoding }, planes));
    const samples = new WaveFile(bytes).getSamples(false, Float64Array) as unknown as Float64Array | Float64Array[];
    const scale = { pcm16: 32768, pcm24: 8388608, float32: 1 }[encoding];
    expect((channelCount === 1 ? [samples as Float64Array] : (samples as Float64Array[])).map((c) => Array.from(c, (v) => v / scale))).toEqual(channels);
  });

  it('refuses blocks that do not hold what was announced', async () => {
    await expect(collect(writeWav(spec({ frameCount: 4 }), [[new Float32Array(3)]]))).rejects.toThrow(/got 3 frames; expected 4/);
    await expect(collect(writeWav(spec(), [[new Float32Array(3), new Float32Array(3)]]))).rejects.toThrow(/number of channels; got 2; expected 1/);
  });

  it.each([{ channelCount: 0 }, { channelCount: 40_000 }, { sampleRateHz: 0 }, { sampleRateHz: 44100.5 }, { frameCount: -1 }, { broadcastTime: { originationDate: '', originationTime: '', timeReference: 0.5 } }])('refuses %o', (wrong) => {
    expect(() => buildWavHeader(spec(wrong))).toThrow(/wrong/);
  });
});

describe('metadata', () => {
  it('broadcast time comes back, and other readers find it', async () => {
    const broadcastTime = { originationDate: '2024-05-17', originationTime: '06:30:00', timeReference: 2 ** 32 + 5 };
    const bytes = buildWavFile({ sampleRateHz: 44100, encoding: 'pcm16', broadcastTime }, [new Float32Array(4)]);
    const { info } = await readAll(bytes);
    expect([info.broadcastTime, info.warnings.length]).toEqual([broadcastTime, 1]);
    const { bext } = new WaveFile(bytes) as unknown as { bext: { originationDate: string; originationTime: string; timeReference: number[]; chunkSize: number } };
    expect([bext.chunkSize, bext.originationDate, bext.originationTime, bext.timeReference]).toEqual([602, '2024-05-17', '06:30:00', [5, 1]]);
  });

  // 'cue ' and 'adtl' layout as in the Microsoft specification: 192 bytes for these 8 samples, two cues and one stretch.
  it('labels: cue points, texts and one stretch', () => {
    const samples = Float32Array.from([100, 200, 300, 400, 500, 600, 700, 800], (v) => v / 32768);
    const bytes = buildWavFile({ sampleRateHz: 8000, encoding: 'pcm16', labels: [{ startFrame: 2, endFrame: 5, text: 'A1' }, { startFrame: 5, text: 'B22' }] }, [samples]);
    const hex = `52494646b80000005741564566 6d742010000000010001 00401f0000803e00000200 1000 64617461 10000000 6400c8002c019001f4015802bc022003
      63756520 34000000 02000000 01000000 02000000 64617461 00000000 00000000 02000000 02000000 05000000 64617461 00000000 00000000 05000000
      4c495354 40000000 6164746c 6c61626c 07000000 01000000 41310000 6c61626c 08000000 02000000 42323200 6c747874 14000000 01000000 03000000 72676e20 00000000 00000000`;
    expect(Buffer.from(bytes).toString('hex')).toBe(hex.replace(/\s/g, ''));
  });

  it('refuses labels that a cue chunk cannot hold', () => {
    for (const label of [{ startFrame: 2 ** 32, text: 'x' }, { startFrame: 5, endFrame: 4, text: 'x' }, { startFrame: -1, text: 'x' }]) {
      expect(() => buildWavTrailer(spec({ labels: [label] }))).toThrow(/label cannot be written/);
    }
  });
});

describe('beyond 4 GiB', () => {
  // RF64 layout: EBU Tech 3306 (2007), Annex A.2.
  it('becomes RF64 with a 64-bit table from the first byte that does not fit', () => {
    const largest = Math.floor((0xffffffff - 1 - 36) / 2);
    const last = buildWavHeader(spec({ frameCount: largest }));
    expect([String.fromCharCode(...last.subarray(0, 4)), new DataView(last.buffer).getUint32(4, true)]).toEqual(['RIFF', 36 + largest * 2]);
    const long = buildWavHeader(spec({ frameCount: 3_000_000_000 }));
    const view = new DataView(long.buffer);
    expect([String.fromCharCode(...long.subarray(0, 4)), view.getUint32(4, true), String.fromCharCode(...long.subarray(12, 16)), view.getUint32(16, true)]).toEqual(['RF64', 0xffffffff, 'ds64', 28]);
    expect([view.getBigUint64(20, true), view.getBigUint64(28, true), view.getBigUint64(36, true), view.getUint32(44, true)]).toEqual([BigInt(long.length - 8) + 6_000_000_000n, 6_000_000_000n, 3_000_000_000n, 0]);
    expect(view.getUint32(long.length - 4, true)).toBe(0xffffffff);
  });
});
