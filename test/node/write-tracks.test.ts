import { mkdtemp, open, readdir, readFile } from 'node:fs/promises';
import type { FileHandle } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, describe, expect, it, vi } from 'vitest';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import { countWriterBytes, TrackWriters } from '../../src/node/write-tracks.js';
import { makeNoise, openKernels } from '../kernels/support.js';

/** More than two buffers of any width. */
const FRAMES = 450_001;

/** From now on every open file answers so when it is asked to be kept on the disk. */
async function breakSync(folder: string, code: string): Promise<void> {
  const handle = await open(join(folder, 'other'), 'wx');
  await handle.close();
  vi.spyOn(Object.getPrototypeOf(handle) as FileHandle, 'sync').mockRejectedValue(Object.assign(new Error(code), { code }));
}

describe('tracks written side by side', () => {
  afterEach(() => { vi.restoreAllMocks(); });

  it('are the bytes of whole files, in pieces of any length, from inside the kernels\' memory and outside', async () => {
    const folder = await mkdtemp(join(tmpdir(), 'volary-')), k = await openKernels(countWriterBytes(3) + 4 * FRAMES + 1024);
    const encodings = ['pcm16', 'pcm24', 'float32'] as const, samples = encodings.map((_, j) => Float32Array.from(makeNoise(FRAMES, 5 + j), (v) => 2.2 * v)), inside = k.allocF32(FRAMES);
    const writers = await TrackWriters.open(folder, encodings.map((encoding) => ({ name: `${encoding}.wav`, spec: { sampleRateHz: 48000, channelCount: 1, encoding, frameCount: FRAMES } })), k);
    for (let from = 0, n = 0; from < FRAMES; n++) {
      const count = Math.min(FRAMES - from, [1, 24000, 7, 150_000, 0, 4096][n % 6]);
      for (let j = 0; j < 3; j++) {
        const part = samples[j].subarray(from, from + count), placed = k.f32(inside, count);
        placed.set(part);
        await writers.append(j, n % 2 ? part : placed);
        // What was given may be written over at once.
        placed.fill(NaN);
      }
      from += count;
    }
    await writers.finish();
    expect((await readdir(folder)).sort()).toEqual(['float32.wav', 'pcm16.wav', 'pcm24.wav']);
    for (const [j, encoding] of encodings.entries()) {
      const found = await readFile(join(folder, `${encoding}.wav`));
      expect(found.equals(buildWavFile({ sampleRateHz: 48000, encoding }, [samples[j]])), encoding).toBe(true);
    }
  });

  it('leave nothing behind when they are abandoned while a piece is being written', async () => {
    const folder = await mkdtemp(join(tmpdir(), 'volary-')), k = await openKernels(countWriterBytes(1));
    const writers = await TrackWriters.open(folder, [{ name: 'a.wav', spec: { sampleRateHz: 48000, channelCount: 1, encoding: 'pcm16', frameCount: FRAMES } }], k);
    await writers.append(0, new Float32Array(FRAMES));
    expect(await readdir(folder)).toHaveLength(1);
    await writers.abandon();
    expect(await readdir(folder)).toEqual([]);
  });

  it('refuse to end with another length than was announced', async () => {
    const folder = await mkdtemp(join(tmpdir(), 'volary-')), k = await openKernels(countWriterBytes(1));
    const writers = await TrackWriters.open(folder, [{ name: 'a.wav', spec: { sampleRateHz: 48000, channelCount: 1, encoding: 'pcm16', frameCount: 10 } }], k);
    await writers.append(0, new Float32Array(9));
    await expect(writers.finish()).rejects.toThrow(/wrong number of frames/);
    await writers.abandon();
    expect(await readdir(folder)).toEqual([]);
  });

  it.each([['EIO', 'the disk reports an error'], ['ENOSPC', 'no space left on the disk; make room, then run the same command again'], ['EDQUOT', 'the quota of the disk is used up; make room, then run the same command again']])('do not appear where the disk says %s only when it is asked to keep them', async (code, words) => {
    const folder = await mkdtemp(join(tmpdir(), 'volary-')), k = await openKernels(countWriterBytes(1));
    const writers = await TrackWriters.open(folder, [{ name: 'a.wav', spec: { sampleRateHz: 48000, channelCount: 1, encoding: 'pcm16', frameCount: 10 } }], k);
    await writers.append(0, new Float32Array(10));
    await breakSync(folder, code);
    await expect(writers.finish()).rejects.toMatchObject({ code: 'unreadable', message: `${JSON.stringify(join(folder, 'a.wav'))}: cannot be written; got ${words}` });
    await writers.abandon();
    expect(await readdir(folder)).toEqual(['other']);
  });

  it.each(['EINVAL', 'ENOTSUP', 'EPERM'])('appear on a disk that cannot be asked (%s)', async (code) => {
    const folder = await mkdtemp(join(tmpdir(), 'volary-')), k = await openKernels(countWriterBytes(1));
    const writers = await TrackWriters.open(folder, [{ name: 'a.wav', spec: { sampleRateHz: 48000, channelCount: 1, encoding: 'pcm16', frameCount: 10 } }], k);
    await writers.append(0, new Float32Array(10));
    await breakSync(folder, code);
    await writers.finish();
    expect((await readdir(folder)).sort()).toEqual(['a.wav', 'other']);
  });
});
