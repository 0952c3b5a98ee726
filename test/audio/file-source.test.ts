import { execFileSync } from 'node:child_process';
import { appendFileSync, mkdirSync, mkdtempSync, openSync, closeSync, rmSync, symlinkSync, truncateSync, utimesSync, writeFileSync, writeSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { createBlobSource } from '../../src/browser/blob-source.js';
import { openAudio, readAudioInfo } from '../../src/audio/open-audio.js';
import { buildWavHeader } from '../../src/audio/wav-writer.js';
import { openFileSource } from '../../src/node/file-source.js';
import { chunk, format, i16, riff } from './build-files.js';

const folder = mkdtempSync(join(tmpdir(), 'volary-audio-'));
afterAll(() => rmSync(folder, { recursive: true }));
const small = riff([format(), chunk('data', i16(1, 2, 3))]);

function place(name: string, bytes: Uint8Array): string {
  const path = join(folder, name);
  writeFileSync(path, bytes);
  return path;
}

describe('regular files only', () => {
  it('refuses folders, pipes, devices, sockets and what is not there, without blocking', async () => {
    mkdirSync(join(folder, 'day.wav'));
    await expect(openFileSource(join(folder, 'day.wav'))).rejects.toMatchObject({ code: 'unreadable', message: expect.stringMatching(/got a folder/) });
    await expect(openFileSource(join(folder, 'none.wav'))).rejects.toMatchObject({ code: 'missing' });
    if (process.platform === 'win32') return;
    execFileSync('mkfifo', [join(folder, 'pipe.wav')]);
    await expect(openFileSource(join(folder, 'pipe.wav'))).rejects.toMatchObject({ code: 'unreadable', message: expect.stringMatching(/got a pipe/) });
    await expect(openFileSource('/dev/zero')).rejects.toMatchObject({ code: 'unreadable', message: expect.stringMatching(/got a device/) });
    symlinkSync('loop-b.wav', join(folder, 'loop-a.wav'));
    symlinkSync('loop-a.wav', join(folder, 'loop-b.wav'));
    await expect(openFileSource(join(folder, 'loop-a.wav'))).rejects.toMatchObject({ code: 'unreadable', message: expect.stringMatching(/circle/) });
  });

  it.each(['-rf x.wav', 'with space and ü.wav', 'two\nlines.wav', "quote'\".wav"])('reads a file called %j', async (name) => {
    expect((await readAudioInfo(await openFileSource(place(name, small)))).frameCount).toBe(3);
  });

  it('a refusal closes the file and stays one line', async () => {
    const source = await openFileSource(place('text.wav', new TextEncoder().encode('no sound')));
    await expect(openAudio(source)).rejects.toThrow(/^"[^\n]*text\.wav": not a sound file/);
    await expect(source.read(0, 4)).rejects.toMatchObject({ code: 'unreadable' });
    await source.close();
    const blocking = await openFileSource(place('text.wav', new TextEncoder().encode('no sound')), { isBlocking: true });
    expect(new TextDecoder().decode(await blocking.read(3, 100))).toBe('sound');
    await blocking.close();
    await expect(blocking.read(0, 4)).rejects.toMatchObject({ code: 'unreadable' });
  });
});

describe.each([false, true])('files that change, read in the calling thread: %s', (isBlocking) => {
  it.each<[string, (path: string) => void]>([
    ['grows', (path) => appendFileSync(path, 'more')],
    ['shrinks', (path) => truncateSync(path, 46)],
    ['is written again', (path) => utimesSync(path, 1, 1)],
  ])('refuses to read on when the file %s', async (_, change) => {
    const path = place('changing.wav', small);
    const reader = await openAudio(await openFileSource(path, { isBlocking }));
    change(path);
    await expect(reader.readFrames(0, 3, [new Float32Array(3)])).rejects.toMatchObject({ code: 'unreadable', message: expect.stringMatching(/changed while it was being read/) });
    await reader.close();
  });
});

describe('beyond 4 GiB', () => {
  it.each([false, true])('reads near the end of a sparse RF64 file, in the calling thread: %s', async (isBlocking) => {
    const frameCount = 2_500_000_123;
    const header = buildWavHeader({ sampleRateHz: 48000, channelCount: 1, encoding: 'pcm16', frameCount });
    const path = place('long.wav', header);
    truncateSync(path, header.length + frameCount * 2);
    const fd = openSync(path, 'r+');
    writeSync(fd, Buffer.from(i16(11, 22, 33)), 0, 6, header.length + (frameCount - 3) * 2);
    closeSync(fd);
    const reader = await openAudio(await openFileSource(path, { isBlocking }));
    expect([reader.info.container, reader.info.frameCount, reader.info.warnings]).toEqual(['RF64', frameCount, []]);
    const into = [new Float32Array(10)];
    expect(await reader.readFrames(frameCount - 5, 10, into)).toBe(5);
    expect(Array.from(into[0], (v) => v * 32768)).toEqual([0, 0, 11, 22, 33, 0, 0, 0, 0, 0]);
    await reader.close();
  });

  it('says so when a 32-bit size has lost a multiple of 2^32', async () => {
    const header = riff([format(), chunk('data', [], 1000)], { size: 1036 });
    const path = place('wrapped.wav', header);
    truncateSync(path, header.length + 2 ** 32 + 1000);
    const info = await readAudioInfo(await openFileSource(path));
    expect([info.frameCount, info.warnings]).toEqual([500, [expect.stringMatching(/4294967296 bytes from byte 1044 on .* 1000 bytes may have lost multiples of 4294967296/)]]);
  });
});

describe('blobs', () => {
  it('reads a Blob like a file', async () => {
    const reader = await openAudio(createBlobSource(new Blob([Uint8Array.from(small)]), 'dropped.wav'));
    const into = [new Float32Array(3)];
    await reader.readFrames(0, 3, into);
    expect([reader.name, Array.from(into[0], (v) => v * 32768)]).toEqual(['dropped.wav', [1, 2, 3]]);
  });
});
