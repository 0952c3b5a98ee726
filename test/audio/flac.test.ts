import { createHash } from 'node:crypto';
import { describe, expect, it, vi } from 'vitest';
import { parseFrameHeader } from '../../src/audio/flac-frame.js';
import { parseFrame } from '../../src/audio/flac-subframes.js';
import { buildFlac, crc } from './build-flac.js';
import { ascii, createNoise, openBytes, readAll, u64 } from './build-files.js';

function fromHex(hex: string): Uint8Array {
  return Uint8Array.from(hex.replace(/\s/g, '').match(/../g)!, (b) => parseInt(b, 16));
}

/** RFC 9639, Appendix D: the three example files and the samples that its text derives from them. */
const RFC_FILES = [
  {
    hex: `664c 6143 8000 0022 1000 1000 0000 0f00 000f 0ac4 42f0 0000 0001 3e84 b418 07dc 6903 0758 6a3d ad1a 2e0f fff8 6918 0000
      bf03 58fd 0312 8baa 9a`,
    rate: 44100, bits: 16, frameAt: [42],
    channels: [[25588], [10416]],
  },
  {
    hex: `664c 6143 0000 0022 0010 0010 0000 1700 0044 0ac4 42f0 0000 0013 d5b0 5649 75e9 8b8d 8b93 0422 757b 8103 0300 0012 0000
      0000 0000 0000 0000 0000 0000 0000 0010 0400 003a 2000 0000 7265 6665 7265 6e63 6520 6c69 6246 4c41 4320 312e 332e 3320
      3230 3139 3038 3034 0100 0000 0e00 0000 5449 544c 453d d7a9 d79c d795 d79d 8100 0006 0000 0000 0000 fff8 6998 000f 9912
      0867 0162 3d14 4299 8f5d f70d 6fe0 0c17 caeb 2100 0ee7 a77a 24a1 590c 1217 b603 097b 784f aa9a 33d2 85e0 70ad 5b1b 4851
      b401 0d99 d2cd 1a68 f1e6 b810 fff8 6918 0102 a402 c382 c40b c14a 03ee 48dd 03b6 7c13 30`,
    rate: 44100, bits: 16, frameAt: [0x88, 0xcc],
    channels: [
      [10372, 18041, 14942, 17876, 15627, 17899, 16242, 18077, 16824, 18263, 17295, -14418, -15201, -14508, -15195, -14818, -15486, -15349, -16054],
      [6070, 10545, 8743, 10449, 9143, 10463, 9502, 10569, 9840, 10680, 10113, -8428, -8895, -8476, -8896, -8653, -9072, -8958, -9410],
    ],
  },
  {
    hex: `664c 6143 8000 0022 1000 1000 0000 1f00 001f 07d0 0070 0000 0018 f8f9 e396 f5cb cfc6 dc80 7f99 7790 6b32 fff8 6802 0017
      e944 004f 6f31 3d10 47d2 27cb 6d09 0831 452b dc28 2222 8057 a3`,
    rate: 32000, bits: 8, frameAt: [42],
    channels: [[0, 79, 111, 78, 8, -61, -90, -68, -13, 42, 67, 53, 13, -27, -46, -38, -12, 14, 24, 19, 6, -4, -5, 0]],
  },
];

describe('RFC 9639 Appendix D', () => {
  it.each(RFC_FILES)('decodes the example of $rate Hz and $bits bits', async ({ hex, rate, bits, channels }) => {
    const { info, channels: got, reader } = await readAll(fromHex(hex), 'example.flac');
    expect([info.container, info.sampleRateHz, info.validBits, info.warnings]).toEqual(['FLAC', rate, bits, []]);
    expect(got.map((c) => c.map((v) => v * 2 ** (bits - 1)))).toEqual(channels);
    expect(reader.lostFrames).toBe(0);
  });

  it.each(RFC_FILES)('reads the same integers with the plain reader, $rate Hz and $bits bits', ({ hex, bits, channels, frameAt }) => {
    const bytes = fromHex(hex);
    const got: number[][] = channels.map(() => []);
    frameAt.forEach((start) => {
      const frame = bytes.subarray(start);
      parseFrame(frame, parseFrameHeader(frame, 0)!, bits)!.channels.forEach((c, i) => got[i].push(...c));
    });
    expect(got).toEqual(channels);
  });

  it.each(RFC_FILES)('matches the MD5 of STREAMINFO, $rate Hz and $bits bits', async ({ hex, bits }) => {
    const bytes = fromHex(hex);
    const { channels } = await readAll(bytes, 'example.flac');
    const width = bits / 8;
    const packed = Buffer.alloc(channels[0].length * channels.length * width);
    channels[0].forEach((_, i) => channels.forEach((c, k) => packed.writeIntLE(c[i] * 2 ** (bits - 1), (i * channels.length + k) * width, width)));
    expect(createHash('md5').update(packed).digest('hex')).toBe(Buffer.from(bytes.subarray(26, 42)).toString('hex'));
  });
});

function noiseSamples(count: number, bits: number, seed?: number): number[] {
  const noise = createNoise(seed);
  const full = 2 ** (bits - 1);
  const samples = Array.from({ length: count }, () => Math.floor((noise() * 2 - 1) * full));
  // Both ends of the scale, where rounding goes wrong first.
  samples[1] = full - 1;
  samples[2] = -full;
  return samples;
}

describe('exact values', () => {
  it.each([8, 9, 12, 13, 16, 17, 20, 22, 24])('%i bits, verbatim and predicted', async (bits) => {
    const planes = [noiseSamples(50, bits), noiseSamples(50, bits, 99)];
    for (const coding of ['verbatim', 'rice'] as const) {
      const { info, channels } = await readAll(buildFlac(planes, { bits, coding }).bytes, 'x.flac');
      expect([info.frameCount, info.bitsPerSample, info.validBits, info.warnings]).toEqual([50, Math.ceil(bits / 8) * 8, bits, []]);
      expect(channels.map((c) => c.map((v) => v * 2 ** (bits - 1)))).toEqual(planes);
    }
  });

  it('32 bits to the nearest float32', async () => {
    const planes = [noiseSamples(40, 32)];
    const { channels } = await readAll(buildFlac(planes, { bits: 32 }).bytes, 'x.flac');
    expect(channels[0]).toEqual(planes[0].map((v) => Math.fround(v / 2 ** 31)));
  });

  it('headers that leave rate and bits to STREAMINFO', async () => {
    const planes = [noiseSamples(40, 16)];
    const { channels, info } = await readAll(buildFlac(planes, { isTerse: true }).bytes, 'x.flac');
    expect([channels[0].map((v) => v * 32768), info.warnings]).toEqual([planes[0], []]);
  });

  it('blocks of varying length, an ID3 tag in front', async () => {
    const planes = [noiseSamples(100, 16)];
    const { bytes } = buildFlac(planes, { blockLengths: [16, 40, 17, 27] });
    const tagged = Uint8Array.from([...ascii('ID3'), 3, 0, 0, 0, 0, 0, 5, 1, 2, 3, 4, 5, ...bytes]);
    const { channels, info } = await readAll(tagged, 'x.flac');
    expect([channels[0].map((v) => v * 32768), info.warnings]).toEqual([planes[0], []]);
  });

  it('a broadcast chunk kept as foreign metadata', async () => {
    const bext = new Array(602).fill(0);
    u64(1031940000n).forEach((b, i) => { bext[338 + i] = b; });
    const { bytes } = buildFlac([[1, 2, 3]], { blocks: [[2, [...ascii('riffbext'), 0x5a, 2, 0, 0, ...bext]], [4, [0, 0, 0, 0]]] });
    expect((await openBytes(bytes, 'x.flac')).info.broadcastTime).toEqual({ originationDate: '', originationTime: '', timeReference: 1031940000 });
  });

  it('any stretch in any order', async () => {
    const planes = [noiseSamples(5000, 16), noiseSamples(5000, 16, 7)];
    const reader = await openBytes(buildFlac(planes, { blockFrames: 64, coding: 'rice' }).bytes, 'x.flac');
    const noise = createNoise(5);
    for (let k = 0; k < 200; k++) {
      const start = Math.floor(noise() * 5000);
      const count = Math.floor(noise() * 300);
      const into = [new Float32Array(302).fill(3), new Float32Array(302).fill(3)];
      const got = await reader.readFrames(start, count, into, 1);
      expect(got).toBe(Math.min(count, 5000 - start));
      into.forEach((c, i) => expect(Array.from(c.subarray(0, got + 2), (v) => (v === 3 ? 3 : v * 32768))).toEqual([3, ...planes[i].slice(start, start + got), 3]));
    }
    expect([reader.lostFrames, reader.info.warnings]).toEqual([0, []]);
  });

  it('reads that are asked for at once do not disturb each other', async () => {
    const planes = [noiseSamples(3000, 16)];
    const reader = await openBytes(buildFlac(planes, { blockFrames: 64, coding: 'rice' }).bytes, 'x.flac');
    const starts = [2000, 0, 1000, 2500, 10];
    const parts = await Promise.all(starts.map(async (start) => {
      const into = [new Float32Array(300)];
      await reader.readFrames(start, 300, into);
      return Array.from(into[0], (v) => v * 32768);
    }));
    expect(parts).toEqual(starts.map((start) => planes[0].slice(start, start + 300)));
  });
});

describe('damage keeps the timeline', () => {
  const planes = [noiseSamples(160, 16)];
  const built = () => buildFlac(planes, { coding: 'rice' });
  const withLost = (from: number, to: number) => planes[0].map((v, i) => (i >= from && i < to ? 0 : v));

  it.each<[string, number, (bytes: Uint8Array, offsets: number[]) => Uint8Array]>([
    ['in the samples', 3, (b, o) => { b[o[3] + 20] ^= 0x10; return b; }],
    ['in a header', 3, (b, o) => { b[o[3] + 2] ^= 0x10; return b; }],
    ['in the sync code', 3, (b, o) => { b[o[3]] = 0; return b; }],
    ['in the first frame', 0, (b, o) => { b[o[0] + 20] ^= 1; return b; }],
    ['of the last but one', 8, (b, o) => { b.fill(0xff, o[8] + 10, o[9] - 3); return b; }],
    ['by bytes taken out', 4, (b, o) => Uint8Array.from([...b.subarray(0, o[4] + 9), ...b.subarray(o[4] + 14)])],
    ['by a frame taken out', 5, (b, o) => Uint8Array.from([...b.subarray(0, o[5]), ...b.subarray(o[6])])],
    ['by bytes put in', 2, (b, o) => Uint8Array.from([...b.subarray(0, o[2] + 7), 0xff, 0xf8, 0xff, 0xff, ...b.subarray(o[2] + 7)])],
  ])('%s: a gap of one block, nothing shifted', async (_, block, hurt) => {
    const { bytes, frameOffsets } = built();
    const { channels, reader, info } = await readAll(hurt(bytes, frameOffsets), 'x.flac');
    expect(channels[0].map((v) => v * 32768)).toEqual(withLost(block * 16, block * 16 + 16));
    expect([reader.lostFrames, info.frameCount]).toEqual([16, 160]);
    expect(info.warnings).toEqual([`16 of 160 frames in 1 stretch, the first at frame ${block * 16}, are damaged or missing; written as silence`]);
    await reader.readFrames(0, 160, [new Float32Array(160)]);
    expect(reader.lostFrames).toBe(16);
  });

  it('reads single stretches around a gap like the whole', async () => {
    const { bytes, frameOffsets } = built();
    bytes[frameOffsets[3] + 20] ^= 0x10;
    const reader = await openBytes(bytes, 'x.flac');
    for (const [start, count] of [[50, 4], [60, 10], [40, 60], [47, 2], [63, 1]]) {
      const into = [new Float32Array(count).fill(3)];
      await reader.readFrames(start, count, into);
      expect(Array.from(into[0], (v) => v * 32768)).toEqual(withLost(48, 64).slice(start, start + count));
      // The same however often it was read before.
      for (let again = 0; again < 2; again++) expect(reader.listLost!(start, count)).toEqual(start + count > 48 && start < 64 ? [[Math.max(48, start), Math.min(64, start + count)]] : []);
    }
    expect(reader.lostFrames).toBe(16);
  });

  it.each([16, 20])('a right checksum around samples that cannot be decoded is damage too, %i bits', async (bits) => {
    const { bytes, frameOffsets } = buildFlac([noiseSamples(160, bits)], { bits });
    const [start, end] = [frameOffsets[2], frameOffsets[3]];
    // Subframe type 2 is reserved (RFC 9639 section 9.2.1).
    bytes[start + parseFrameHeader(bytes.subarray(start), 0)!.headerBytes] = 2 << 1;
    const check = crc([...bytes.subarray(start, end - 2)], 16, 0x8005);
    bytes.set([check >> 8, check & 255], end - 2);
    const print = vi.spyOn(console, 'error');
    const { reader, channels } = await readAll(bytes, 'x.flac');
    expect(print).not.toHaveBeenCalled();
    print.mockRestore();
    expect([reader.lostFrames, channels[0].slice(32, 48), channels[0].slice(48).includes(0)]).toEqual([16, new Array(16).fill(0), false]);
  });
});

describe('lengths and headers that lie', () => {
  const planes = [noiseSamples(160, 16)];

  it('an unknown length follows from the frames', async () => {
    const { info, channels } = await readAll(buildFlac(planes, { total: 0 }).bytes, 'x.flac');
    expect([info.frameCount, channels[0].map((v) => v * 32768)]).toEqual([160, planes[0]]);
    expect(info.warnings).toEqual([expect.stringMatching(/declares no length; .* 160 frames/)]);
  });

  it('a truncated stream keeps its whole frames and names both numbers', async () => {
    const { bytes, frameOffsets } = buildFlac(planes);
    const { info, channels } = await readAll(bytes.subarray(0, frameOffsets[7] + 21), 'x.flac');
    expect([info.frameCount, channels[0].map((v) => v * 32768)]).toEqual([112, planes[0].slice(0, 112)]);
    expect(info.warnings).toEqual([expect.stringMatching(/declares 160 frames but the file holds 112/), expect.stringMatching(/^21 bytes from byte \d+ on are no whole frame/)]);
  });

  it('more frames than declared are not counted', async () => {
    const { info } = await readAll(buildFlac(planes, { total: 100 }).bytes, 'x.flac');
    expect([info.frameCount, info.warnings]).toEqual([100, [expect.stringMatching(/declares 100 frames but the file holds 160/)]]);
  });

  it('bytes after the last frame are named', async () => {
    const { info, channels } = await readAll(Uint8Array.from([...buildFlac(planes).bytes, ...new Array(128).fill(0x54)]), 'x.flac');
    expect([channels[0].map((v) => v * 32768), info.warnings]).toEqual([planes[0], [expect.stringMatching(/^128 bytes from byte \d+ on are no whole frame/)]]);
  });

  it('a stream cut out of a longer one is counted from its first frame', async () => {
    const { info, channels } = await readAll(buildFlac(planes, { firstNumber: 1000 }).bytes, 'x.flac');
    expect([info.frameCount, channels[0].map((v) => v * 32768)]).toEqual([160, planes[0]]);
    expect(info.warnings).toEqual([expect.stringMatching(/first frame of the stream is numbered 16000/)]);
  });

  it('no frames at all: 0 frames and a warning', async () => {
    const { bytes, frameOffsets } = buildFlac(planes);
    const { info } = await readAll(bytes.subarray(0, frameOffsets[0]), 'x.flac');
    expect([info.frameCount, info.warnings]).toEqual([0, [expect.stringMatching(/declares 160 frames but none/), expect.stringMatching(/0 frames/)]]);
  });

  it.each([[{ channels: 2 }, /got a frame of 44100 Hz, 1 channels, 16 bits; expected 44100 Hz, 2 channels/], [{ rate: 48000 }, /expected 48000 Hz/], [{ bits: 24 }, /24 bits/], [{ rate: 0 }, /0 Hz/]] as const)('refuses a stream info that lies: %o', async (lie, pattern) => {
    await expect(openBytes(buildFlac(planes, { lie }).bytes, 'x.flac')).rejects.toThrow(pattern);
  });

  it('refuses metadata that never ends, or does not begin with the stream info', async () => {
    await expect(openBytes(Uint8Array.from([...ascii('fLaC'), 0, 0, 0, 34, ...new Array(34).fill(1), 4, 255, 255, 255]), 'x.flac')).rejects.toThrow(/does not end within the file/);
    await expect(openBytes(Uint8Array.from([...ascii('fLaC'), 132, 0, 0, 0]), 'x.flac')).rejects.toThrow(/does not begin with its stream info/);
    const endless = new Array(2000).fill([1, []] as [number, number[]]);
    await expect(openBytes(buildFlac(planes, { blocks: endless }).bytes, 'x.flac')).rejects.toThrow(/too many FLAC metadata blocks/);
  });
});
