import { WaveFile } from 'wavefile';
import { describe, expect, it } from 'vitest';
import { createBytesSource } from '../../src/audio/bytes-source.js';
import { describeAudio, openAudio, readAudioInfo } from '../../src/audio/open-audio.js';
import { ascii, chunk, countReads, createNoise, ds64, extension, f32, f64, format, i16, i24, openBytes, readAll, riff, u16, u32, u64, wave64, wave64Chunk } from './build-files.js';

describe('sample values', () => {
  // Codes and values: integers / 2^(bits-1), 8 bits unsigned around 128 (Microsoft Multimedia Programming Interface and Data Specifications 1.0, p. 60).
  it('scales 8, 16, 24 and 32 bits exactly', async () => {
    expect((await readAll(riff([format({ bits: 8 }), chunk('data', [0, 128, 129, 255])]))).channels).toEqual([[-1, 0, 0.0078125, 0.9921875]]);
    expect((await readAll(riff([format(), chunk('data', i16(-32768, 1, 32767))]))).channels).toEqual([[-1, 3.0517578125e-5, 0.999969482421875]]);
    expect((await readAll(riff([format({ bits: 24 }), chunk('data', i24(-8388608, 1, 8388607))]))).channels).toEqual([[-1, 1.1920928955078125e-7, 0.9999998807907104]]);
    const codes = [-2147483648, 1, 1 << 30];
    expect((await readAll(riff([format({ bits: 32 }), chunk('data', codes.flatMap(u32))]))).channels).toEqual([[-1, 4.656612873077393e-10, 0.5]]);
  });

  it.each([0, 1])('does not depend on where the bytes lie in memory, shift %i', async (shift) => {
    const file = riff([format({ channels: 2 }), chunk('data', i16(-32768, 1, 32767, -2))]);
    const memory = new Uint8Array(file.length + shift);
    memory.set(file, shift);
    const { channels } = await readAll(memory.subarray(shift));
    expect(channels).toEqual([[-1, 32767 / 32768], [1 / 32768, -2 / 32768]]);
  });

  it('reads 32-bit and 64-bit float as written, denormals and values beyond full scale too', async () => {
    expect((await readAll(riff([format({ tag: 3, bits: 32 }), chunk('data', f32(0.25, -1.5, 1e-40))]))).channels[0]).toEqual([0.25, -1.5, Math.fround(1e-40)]);
    expect((await readAll(riff([format({ tag: 3, bits: 64 }), chunk('data', f64(0.1, -2))]))).channels[0]).toEqual([Math.fround(0.1), -2]);
  });

  it('separates channels', async () => {
    const { channels, info } = await readAll(riff([format({ channels: 3 }), chunk('data', i16(1, 2, 3, 4, 5, 6))]));
    expect(channels.map((c) => c.map((v) => v * 32768))).toEqual([[1, 4], [2, 5], [3, 6]]);
    expect(info.warnings).toEqual([]);
  });

  it('reads any stretch into any place and stops at the end', async () => {
    const reader = await openBytes(riff([format(), chunk('data', i16(...Array.from({ length: 100 }, (_, i) => i)))]));
    const into = [new Float32Array(12).fill(9)];
    expect(await reader.readFrames(97, 10, into, 2)).toBe(3);
    expect(Array.from(into[0], (v) => (v === 9 ? v : v * 32768))).toEqual([9, 9, 97, 98, 99, 9, 9, 9, 9, 9, 9, 9]);
    expect(await reader.readFrames(100, 5, into)).toBe(0);
    await expect(reader.readFrames(-1, 5, into)).rejects.toThrow(/wrong request/);
    await expect(reader.readFrames(0, 100, into)).rejects.toThrow(/wrong request/);
  });
});

describe('containers', () => {
  // Layout of the extensible format and its GUIDs: EBU Tech 3306 (2007), Annex A.2.
  it('decodes extensible float as float and extensible PCM as PCM', async () => {
    const float = await readAll(riff([format({ tag: 0xfffe, bits: 32, extension: extension(3, 32) }), chunk('data', f32(0.5, -0.25))]));
    expect([float.info.sampleFormat, float.channels[0], float.info.warnings]).toEqual(['float', [0.5, -0.25], []]);
    const pcm = await readAll(riff([format({ tag: 0xfffe, bits: 32, extension: extension(1, 32) }), chunk('data', u32(1 << 30))]));
    expect([pcm.info.sampleFormat, pcm.channels[0], pcm.info.warnings]).toEqual(['pcm', [0.5], []]);
  });

  it('honours 20 valid bits at the top of a container of 24', async () => {
    const { info, channels } = await readAll(riff([format({ tag: 0xfffe, bits: 24, extension: extension(1, 20) }), chunk('data', i24(1 << 4, -(1 << 23)))]));
    expect([info.bitsPerSample, info.validBits, info.warnings]).toEqual([24, 20, []]);
    expect(channels[0]).toEqual([2 ** -19, -1]);
    expect(describeAudio(info)).toBe('RIFF/WAVE, 8000 Hz, 1 channel, 24-bit PCM (20 valid), 0.0 s');
  });

  // RF64: EBU Tech 3306 (2007), Annex A.2; BW64: ITU-R BS.2088 section 4, the same geometry.
  it.each(['RF64', 'BW64'])('uses the 64-bit table of %s where the 32-bit field is all ones', async (id) => {
    const parts = [format(), chunk('junk', [1, 2, 3, 4], 0xffffffff), chunk('data', i16(7, 8), 0xffffffff)];
    const table = ds64(BigInt(4 + 36 + 12 + parts.flat().length), 4n, 2n, [['junk', 4n]]);
    const { info, channels } = await readAll(riff([table, ...parts], { id, size: 0xffffffff }));
    expect([info.container, info.frameCount, info.warnings]).toEqual([id, 2, []]);
    expect(channels[0]).toEqual([7 / 32768, 8 / 32768]);
  });

  it('keeps to a 32-bit size that is filled in, whatever the table says', async () => {
    const { info } = await readAll(riff([ds64(0n, 1000n, 500n), format(), chunk('data', i16(7, 8))], { id: 'RF64' }));
    expect([info.frameCount, info.warnings]).toEqual([2, []]);
  });

  it('reads Wave64: sizes include the header, chunks stand on 8-byte boundaries', async () => {
    const payload = [...u16(1), ...u16(1), ...u32(8000), ...u32(16000), ...u16(2), ...u16(16)];
    const bytes = wave64([wave64Chunk('fmt ', payload), wave64Chunk('junk', [1, 2, 3]), wave64Chunk('data', i16(1, 2, 3))]);
    const { info, channels } = await readAll(bytes);
    expect([info.container, info.frameCount, info.warnings]).toEqual(['Wave64', 3, []]);
    expect(channels[0].map((v) => v * 32768)).toEqual([1, 2, 3]);
  });

  it('skips unknown, odd and nested chunks before and after the data', async () => {
    const list = chunk('LIST', [...ascii('adtl'), ...chunk('LIST', [...ascii('adtl'), ...chunk('labl', [1, 0, 0, 0, 65, 0])])]);
    const bytes = riff([chunk('JUNK', [1, 2, 3]), format(), list, chunk('iXML', ascii('<!ENTITY a "aaaa">')), chunk('data', [1, 2, 3].flatMap((v) => u16(v))), chunk('odd ', [9]), list]);
    const { info, channels } = await readAll(bytes);
    expect([info.frameCount, channels[0].map((v) => v * 32768), info.warnings]).toEqual([3, [1, 2, 3], []]);
  });

  it('never counts the pad byte of an odd data chunk', async () => {
    const { info, channels } = await readAll(riff([format({ bits: 8 }), chunk('data', [128, 129, 130])]));
    expect([info.frameCount, channels[0].length, info.warnings]).toEqual([3, 3, []]);
  });

  it('accepts a missing last pad byte and a header that does not count it', async () => {
    const whole = riff([format({ bits: 8 }), chunk('data', [128, 129, 130])]);
    expect((await openBytes(whole.subarray(0, whole.length - 1))).info.warnings).toEqual([]);
    expect((await openBytes(riff([format({ bits: 8 }), chunk('data', [128, 129, 130])], { size: whole.length - 9 }))).info.warnings).toEqual([]);
  });

  // 'cue ' and 'adtl' as in the Microsoft specification; 8 samples, two cues, labels, one stretch of 3 samples.
  it('reads past cue points and labels', async () => {
    const point = (id: number, at: number) => [...u32(id), ...u32(at), ...ascii('data'), ...u32(0), ...u32(0), ...u32(at)];
    const cue = chunk('cue ', [...u32(2), ...point(1, 2), ...point(2, 5)]);
    const ltxt = chunk('ltxt', [...u32(1), ...u32(3), ...ascii('rgn '), ...u32(0), ...u32(0)]);
    const adtl = chunk('LIST', [...ascii('adtl'), ...chunk('labl', [...u32(1), 65, 49, 0]), ...chunk('labl', [...u32(2), 66, 50, 50, 0]), ...ltxt]);
    const { info, channels } = await readAll(riff([format(), chunk('data', i16(100, 200, 300, 400, 500, 600, 700, 800)), cue, adtl]));
    expect([info.frameCount, info.warnings, channels[0][7] * 32768]).toEqual([8, [], 800]);
  });
});

describe('broadcast time', () => {
  const bext = (reference: bigint, length = 602) => {
    const payload = new Array(length).fill(0);
    ascii('2024-05-17').forEach((b, i) => { payload[320 + i] = b; });
    ascii('06:30:00').forEach((b, i) => { payload[330 + i] = b; });
    u64(reference).forEach((b, i) => { payload[338 + i] = b; });
    return chunk('bext', payload.slice(0, length));
  };

  // Offsets: EBU Tech 3285 v2. 06:30:00 at 44100 Hz is 23400 s * 44100 = 1031940000 samples since midnight.
  it('reads date, time and time reference, before or after the data', async () => {
    const expected = { originationDate: '2024-05-17', originationTime: '06:30:00', timeReference: 1031940000 };
    expect((await openBytes(riff([bext(1031940000n), format({ rate: 44100 }), chunk('data', i16(1))]))).info.broadcastTime).toEqual(expected);
    expect((await openBytes(riff([format({ rate: 44100 }), chunk('data', i16(1)), bext(1031940000n)]))).info.broadcastTime).toEqual(expected);
  });

  it('reads the high half of the time reference', async () => {
    const { info } = await openBytes(riff([format({ rate: 192000 }), chunk('data', i16(1)), bext(0x1_0000_0001n)]));
    expect([info.broadcastTime?.timeReference, info.warnings]).toEqual([4294967297, []]);
  });

  it('ignores a chunk that is too short or beyond all clocks, with a warning', async () => {
    for (const bad of [bext(1n, 300), bext(0xffffffffffffffffn)]) {
      const { info } = await openBytes(riff([bad, format(), chunk('data', i16(1))]));
      expect([info.broadcastTime, info.frameCount, info.warnings.length]).toEqual([undefined, 1, 1]);
    }
  });
});

describe('cost and cross-checks', () => {
  it('opens with a few small reads, whatever the length', async () => {
    const bytes = new Uint8Array(30_000_000);
    bytes.set(riff([format(), chunk('data', [], bytes.length - 44)], { size: bytes.length - 8 }));
    const source = countReads(createBytesSource(bytes, 'long.wav'));
    const info = await readAudioInfo(source);
    expect([info.frameCount, info.warnings, source.isClosed]).toEqual([(bytes.length - 44) / 2, [], true]);
    expect(source.readCount).toBeLessThanOrEqual(3);
    expect(source.readBytes).toBeLessThan(100_000);
  });

  it('reads a long stretch in bounded slices', async () => {
    const bytes = new Uint8Array(5_000_044);
    bytes.set(riff([format(), chunk('data', [], 5_000_000)], { size: bytes.length - 8 }));
    const source = countReads(createBytesSource(bytes, 'long.wav'));
    const reader = await openAudio(source);
    expect(await reader.readFrames(0, 2_500_000, [new Float32Array(2_500_000)])).toBe(2_500_000);
    expect(source.largestRead).toBeLessThanOrEqual(1 << 20);
  });

  it.each([['8', 1], ['16', 2], ['24', 3], ['32', 4], ['32f', 2], ['64', 1]] as const)('agrees with wavefile on %s bits, %i channels', async (depth, channelCount) => {
    const noise = createNoise();
    const scale = { 8: 255, 16: 65535, 24: 16777215, 32: 4294967295 }[depth as '8'] ?? 1;
    const planes = Array.from({ length: channelCount }, () => Array.from({ length: 501 }, () => {
      const u = noise();
      return depth === '8' ? Math.floor(u * scale) : scale === 1 ? u - 0.5 : Math.floor((u - 0.5) * scale);
    }));
    const wav = new WaveFile();
    wav.fromScratch(channelCount, 22050, depth, channelCount === 1 ? planes[0] : planes);
    const { info, channels } = await readAll(wav.toBuffer());
    const toValue = (v: number) => Math.fround(depth === '8' ? (v - 128) / 128 : scale === 1 ? v : v / ((scale + 1) / 2));
    expect(channels).toEqual(planes.map((plane) => plane.map(toValue)));
    expect([info.sampleRateHz, info.warnings]).toEqual([22050, []]);
  });

  it('describes a file in one line', async () => {
    const { info } = await openBytes(riff([format({ rate: 44100 }), chunk('data', new Array(88200).fill(0))]));
    expect(describeAudio(info)).toBe('RIFF/WAVE, 44100 Hz, 1 channel, 16-bit PCM, 1.0 s');
  });
});
