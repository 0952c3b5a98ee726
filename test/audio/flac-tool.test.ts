// Cross-check against the reference encoder and decoder where this machine has them.
import { execFileSync, spawnSync } from 'node:child_process';
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { createBytesSource } from '../../src/audio/bytes-source.js';
import { openAudio } from '../../src/audio/open-audio.js';
import { ascii, countReads, createNoise, extension, format, riff, u32 } from './build-files.js';

const hasTool = spawnSync('flac', ['--version']).status === 0;
if (!hasTool) console.warn('skipped: no `flac` command here, so FLAC is not checked against the reference encoder');
const folder = mkdtempSync(join(tmpdir(), 'volary-flac-'));
afterAll(() => rmSync(folder, { recursive: true }));

/** Tones and noise that use every kind of prediction, interleaved integers. */
function synthesize(frames: number, channelCount: number, bits: number): number[] {
  const noise = createNoise();
  const full = 2 ** (bits - 1);
  return Array.from({ length: frames * channelCount }, (_, k) => {
    const i = Math.floor(k / channelCount);
    const tone = 0.6 * Math.sin(i * 0.05 * (1 + (k % channelCount))) * (i % 9000 < 6000 ? 1 : 0);
    const value = Math.floor((tone + 0.1 * (noise() - 0.5)) * full);
    return i === 77 ? -full : i === 78 ? full - 1 : value;
  });
}

function encode(samples: number[], channelCount: number, bits: number, extra: string[]): Uint8Array {
  const width = Math.ceil(bits / 8);
  const raw = Buffer.alloc(samples.length * width);
  // Valid bits stand at the top of their container.
  samples.forEach((v, i) => raw.writeIntLE(v * 2 ** (width * 8 - bits), i * width, width));
  const wavPath = join(folder, 'in.wav');
  const flacPath = join(folder, 'out.flac');
  const head = riff([format({ tag: 0xfffe, channels: channelCount, rate: 44100, bits: width * 8, extension: extension(1, bits) }), [...ascii('data'), ...u32(raw.length)]]);
  new DataView(head.buffer).setUint32(4, head.length - 8 + raw.length, true);
  if (width === 1) for (let i = 0; i < raw.length; i++) raw[i] ^= 128;
  writeFileSync(wavPath, Buffer.concat([head, raw]));
  execFileSync('flac', ['-s', '-f', '--channel-map=none', ...extra, '-o', flacPath, wavPath]);
  return new Uint8Array(readFileSync(flacPath));
}

describe.skipIf(!hasTool)('streams of the reference encoder', () => {
  it.each<[number, number, string[]]>([
    [16, 1, ['-5']], [16, 2, ['-8']], [16, 2, ['-0']], [24, 1, ['-8']], [24, 2, ['-5', '--no-seektable']], [8, 1, ['-5']], [16, 8, ['-5', '-b', '1152']], [20, 2, ['-8']], [12, 1, ['-5']],
    [24, 1, ['--lax', '-b', '65535']],
  ])('%i bits, %i channels, %j', async (bits, channelCount, extra) => {
    const frames = 20_000;
    const samples = synthesize(frames, channelCount, bits);
    const reader = await openAudio(createBytesSource(encode(samples, channelCount, bits, extra), 'tool.flac'));
    const into = Array.from({ length: channelCount }, () => new Float32Array(frames));
    expect(await reader.readFrames(0, frames, into)).toBe(frames);
    const scale = 2 ** (bits - 1);
    let wrong = 0;
    for (let i = 0; i < samples.length; i++) if (into[i % channelCount][Math.floor(i / channelCount)] * scale !== samples[i]) wrong++;
    expect([wrong, reader.lostFrames, reader.info.validBits, reader.info.warnings]).toEqual([0, 0, bits, []]);
  });

  it('an unknown length, as when the encoder writes into a pipe', async () => {
    const samples = synthesize(20_000, 1, 16);
    const raw = Buffer.from(Int16Array.from(samples).buffer);
    const piped = execFileSync('flac', ['-s', '-c', '--force-raw-format', '--endian=little', '--sign=signed', '--channels=1', '--bps=16', '--sample-rate=44100', '-'], { input: raw, stdio: ['pipe', 'pipe', 'ignore'] });
    const bytes = new Uint8Array(piped);
    // What cannot be written back into a pipe: the total, 36 bits at the end of byte 21.
    bytes[21] &= 0xf0;
    bytes.fill(0, 22, 26);
    const reader = await openAudio(createBytesSource(bytes, 'piped.flac'));
    expect(reader.info.frameCount).toBe(20_000);
  });

  it('a short read far inside costs a small part of the file', async () => {
    const samples = synthesize(700_000, 1, 16);
    const source = countReads(createBytesSource(encode(samples, 1, 16, ['-0', '--no-seektable']), 'long.flac'));
    const reader = await openAudio(source);
    source.readBytes = 0;
    const into = [new Float32Array(100)];
    for (const start of [634_567, 100_000]) {
      await reader.readFrames(start, 100, into);
      expect(Array.from(into[0], (v) => v * 32768)).toEqual(samples.slice(start, start + 100));
    }
    expect(source.sizeBytes).toBeGreaterThan(700_000);
    source.readBytes = 0;
    await reader.readFrames(634_000, 100, into);
    // Close to a place that was read before: one window.
    expect(source.readBytes).toBeLessThanOrEqual(1 << 18);
  });

  it('reading through once reads the file about once', async () => {
    const samples = synthesize(500_000, 1, 16);
    const source = countReads(createBytesSource(encode(samples, 1, 16, ['-5']), 'long.flac'));
    const reader = await openAudio(source);
    source.readBytes = 0;
    const into = [new Float32Array(100_000)];
    for (let start = 0; start < 500_000; start += 100_000) await reader.readFrames(start, 100_000, into);
    expect(source.readBytes).toBeLessThan(1.1 * source.sizeBytes);
  });
});
