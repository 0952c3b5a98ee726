import { describe, expect, it, vi } from 'vitest';
import { decodeWithLibrary } from '../../src/audio/flac-library.js';
import type { LibraryFrame } from '../../src/audio/flac-library.js';
import { buildFlac } from './build-flac.js';
import { createNoise } from './build-files.js';

const noise = createNoise(3), planes = [0, 1].map(() => Array.from({ length: 90 }, () => Math.floor((noise() * 2 - 1) * 32768))), LENGTHS = [16, 40, 17, 17];

/** Four frames of two channels, each the first of its stream, the last with as many samples as the one before. */
function buildFrames(): LibraryFrame[] {
  return LENGTHS.map((blockFrames, n) => {
    const { bytes, frameOffsets: [from, to] } = buildFlac(partOf(n), { blockFrames });
    return { bytes: bytes.slice(from, to), blockFrames };
  });
}

/** As integers: the library divides those of 16 bits by 32767. */
const read = (channels: readonly Float32Array[]): number[][] => channels.map((c) => Array.from(c, (v) => Math.round(v * 32767)));
const partOf = (n: number): number[][] => planes.map((c) => c.slice(LENGTHS.slice(0, n).reduce((a, b) => a + b, 0)).slice(0, LENGTHS[n]));

describe('frames decoded by the library', () => {
  it('come as one row where none of them is damaged', async () => {
    const result = await decodeWithLibrary(buildFrames());
    expect('whole' in result && read(result.whole)).toEqual(planes);
  });

  it.each([0, 2, 3])('come one by one where one of them is damaged, none instead of that one: frame %i', async (damaged) => {
    const frames = buildFrames(), { bytes } = frames[damaged];
    // The last byte before the checksum.
    bytes[bytes.length - 3] ^= 1;
    const print = vi.spyOn(console, 'error'), result = await decodeWithLibrary(frames);
    expect(print).not.toHaveBeenCalled();
    print.mockRestore();
    expect('single' in result && result.single.map((one) => one && read(one))).toEqual(LENGTHS.map((_, n) => (n === damaged ? undefined : partOf(n))));
  });

  it('are refused where the library reports an error, though as many samples as expected came out', async () => {
    const frames = buildFrames();
    frames[1].bytes = Uint8Array.from([...new Array(30).fill(0x55), ...frames[1].bytes]);
    const result = await decodeWithLibrary(frames);
    expect('single' in result && result.single.map((one) => one && read(one))).toEqual([partOf(0), undefined, partOf(2), partOf(3)]);
  });

  it('are all decoded after a batch that failed, however many are asked for at once', async () => {
    const bad = buildFrames().slice(1, 2);
    bad[0].bytes.fill(0, 10);
    const [failed, ...others] = await Promise.all([decodeWithLibrary(bad), decodeWithLibrary(buildFrames()), decodeWithLibrary(buildFrames().slice(2))]);
    expect(failed).toEqual({ single: [undefined] });
    expect(others.map((r) => 'whole' in r && read(r.whole))).toEqual([planes, planes.map((c) => c.slice(16 + 40))]);
  });
});
