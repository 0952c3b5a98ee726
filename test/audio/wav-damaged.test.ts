import { describe, expect, it } from 'vitest';
import { VolaryError } from '../../src/schema/errors.js';
import { ascii, chunk, ds64, extension, f32, f64, format, i16, openBytes, readAll, riff, u16, u32, u64, wave64, wave64Chunk } from './build-files.js';

async function refusal(bytes: Uint8Array, name?: string): Promise<VolaryError> {
  const error = await openBytes(bytes, name).then(() => undefined, (e: unknown) => e);
  expect(error).toBeInstanceOf(VolaryError);
  expect((error as VolaryError).message).not.toMatch(/\n/);
  return error as VolaryError;
}

async function infoOf(bytes: Uint8Array): Promise<{ frames: number; warnings: string[] }> {
  const { info } = await openBytes(bytes);
  for (const line of info.warnings) expect(line).not.toMatch(/\n/);
  return { frames: info.frameCount, warnings: info.warnings };
}

const ONES = 0xffffffff;

describe('what is no sound file', () => {
  it.each<[string, Uint8Array, string, RegExp]>([
    ['an empty file', new Uint8Array(0), 'bad-audio', /empty/],
    ['text renamed .wav', Uint8Array.from(ascii('bird,onset_s,offset_s\n')), 'unsupported-audio', /first bytes "bird,ons"/],
    ['zeros', new Uint8Array(1000), 'unsupported-audio', /got zeros/],
    ['a single byte', Uint8Array.of(0x52), 'unsupported-audio', /first bytes "R"/],
    ['a RIFF that is no WAVE', Uint8Array.from([...ascii('RIFF'), ...u32(20), ...ascii('AVI LIST')]), 'unsupported-audio', /RIFF of type "AVI "/],
    ['an Ogg file', Uint8Array.from([...ascii('OggS'), ...new Array(60).fill(0)]), 'unsupported-audio', /an Ogg file/],
    ['an MP3 file with a tag', Uint8Array.from([...ascii('ID3'), 3, 0, 0, 0, 0, 0, 4, ...new Array(60).fill(0)]), 'unsupported-audio', /an MP3 file/],
    ['a bare header', riff([]), 'bad-audio', /no format chunk/],
  ])('refuses %s in one line', async (_, bytes, code, pattern) => {
    const error = await refusal(bytes);
    expect([error.code, error.message]).toEqual([code, expect.stringMatching(pattern)]);
  });

  it('quotes any file name safely', async () => {
    const { message } = await refusal(new Uint8Array(0), '-rf a\nb\u2028ü.wav');
    expect(message).toMatch(/^"-rf a\\nb\\u2028ü.wav": /);
  });
});

describe('format chunks that cannot be', () => {
  const data = chunk('data', i16(1, 2));
  it.each<[string, Uint8Array, RegExp]>([
    ['no channels', riff([format({ channels: 0, block: 2 }), data]), /0 channels/],
    ['no sample rate', riff([format({ rate: 0 }), data]), /0 Hz/],
    ['no bits', riff([format({ bits: 0, block: 2 }), data]), /0 bits/],
    ['40-bit PCM', riff([format({ bits: 40 }), data]), /40 bits/],
    ['16-bit float', riff([format({ tag: 3, bits: 16 }), data]), /16 bits.*32 or 64/],
    ['ADPCM', riff([format({ tag: 2, bits: 4, block: 256 }), data]), /0x0002 \(ADPCM\)/],
    ['mu-law', riff([format({ tag: 7, bits: 8 }), data]), /0x0007 \(mu-law\)/],
    ['an unknown codec', riff([format({ tag: 0x1234 }), data]), /0x1234/],
    ['a short format chunk', riff([chunk('fmt ', new Array(14).fill(1)), data]), /too short; got 14 bytes; expected at least 16/],
    ['a short extension', riff([format({ tag: 0xfffe, extension: [0, 0] }), data]), /extensible format chunk is too short/],
    ['an extension that declares too little', riff([format({ tag: 0xfffe, extension: [...u16(10), ...extension(1, 16).slice(2)] }), data]), /extensible format chunk is too short; got an extension of 10 bytes/],
    ['an extension that is cut', riff([format({ tag: 0xfffe, extension: extension(1, 16).slice(0, 20) }), data]), /extensible format chunk is too short; got 36 bytes; expected 40/],
    ['an unknown sub-format', riff([format({ tag: 0xfffe, extension: extension(1, 16, 0, new Array(14).fill(7)) }), data]), /unknown sub-format/],
    ['a block size that nothing confirms', riff([format({ channels: 2, block: 2 }), data]), /block size 2 bytes; expected 4 bytes/],
    ['24 bits in blocks of 4 bytes', riff([format({ bits: 24, block: 4 }), data]), /block size 4 bytes; expected 3 bytes/],
    ['no format chunk', riff([data]), /no format chunk/],
    ['no data chunk', riff([format()]), /no data chunk/],
    ['a chunk that swallows the data', riff([format(), [...ascii('LIST'), ...u32(5000)], data]), /'LIST' at byte 36 that declares 5000 bytes/],
    ['garbage before the data', riff([format(), [1, 2, 3, 4, 5, 6, 7, 8], data]), /no chunk from byte 36 on/],
  ])('refuses %s', async (_, bytes, pattern) => {
    expect((await refusal(bytes)).message).toMatch(pattern);
  });

  it('believes channels and bits against a wrong block size when the byte rate confirms them', async () => {
    const { frames, warnings } = await infoOf(riff([format({ channels: 2, block: 2, byteRate: 32000 }), data]));
    expect([frames, warnings]).toEqual([1, [expect.stringMatching(/block size of 2 bytes but 2 channels of 16 bits need 4; believed/)]]);
  });

  it('names a byte rate that contradicts rate and block size', async () => {
    const { frames, warnings } = await infoOf(riff([format({ byteRate: 96000 }), data]));
    expect([frames, warnings]).toEqual([2, [expect.stringMatching(/96000 bytes per second but 8000 Hz .* make 16000; believed/)]]);
  });

  it('names an implausible rate and uses it', async () => {
    const { warnings } = await infoOf(riff([format({ rate: 7 }), data]));
    expect(warnings).toEqual([expect.stringMatching(/implausible sample rate: 7 Hz/)]);
  });

  it.each([0, 24])('believes the container against %i valid bits of 16', async (valid) => {
    const { warnings } = await infoOf(riff([format({ tag: 0xfffe, extension: extension(1, valid) }), data]));
    expect(warnings).toEqual([expect.stringMatching(new RegExp(`${valid} valid bits in a container of 16`))]);
  });
});

describe('lengths that lie', () => {
  const samples = i16(1, 2, 3, 4);
  /** Three samples of 8 bits without a pad byte. */
  const ODD = [...ascii('data'), ...u32(3), 128, 129, 130];
  /** The same with a chunk that is no sound. */
  const UNPADDED = [...ascii('LIST'), ...u32(3), 1, 2, 3];
  it.each<[string, Uint8Array, number, RegExp[]]>([
    ['a truncated file', riff([format(), chunk('data', samples, 4000)]), 4, [/declares 4000 bytes but the file holds 8/]],
    ['a data size of 0 after a power loss', riff([format(), chunk('data', samples, 0)], { size: 0 }), 4, [/length of 0, so its size was never filled in; recovered 8 bytes/]],
    ['silence after a data size of 0', riff([format(), chunk('data', new Array(64).fill(0), 0)]), 32, [/length of 0, so its size was never filled in; recovered 64 bytes/]],
    ['a data size of all ones', riff([format(), chunk('data', samples, ONES)], { size: ONES }), 4, [/no length, so its size was never filled in; recovered 8 bytes/]],
    ['RF64 without a table', riff([format(), chunk('data', samples, ONES)], { id: 'RF64', size: ONES }), 4, [/no length, so its size was never filled in/]],
    ['RF64 with a table of zeros', riff([ds64(0n, 0n, 0n), format(), chunk('data', samples, ONES)], { id: 'RF64', size: ONES }), 4, [/length of 0, so its size was never filled in/]],
    ['a table that is too short', riff([chunk('ds64', new Array(12).fill(0)), format(), chunk('data', samples, ONES)], { id: 'RF64', size: ONES }), 4, [/table has 12 bytes, expected at least 28/, /never filled in/]],
    ['a table that lies beyond 2^53', riff([ds64(9n, 0x7fffffffffffffffn, 1n), format(), chunk('data', samples, ONES)], { id: 'RF64', size: ONES }), 4, [/declares 9223372036854775807 bytes but the file holds 8/]],
    ['a table that declares many entries', riff([[...ds64(80n, 8n, 4n).slice(0, 32), ...u32(ONES)], format(), chunk('data', samples, ONES)], { id: 'RF64', size: ONES }), 4, []],
    ['an incomplete last frame', riff([format({ channels: 2 }), chunk('data', [...samples, 1, 2])]), 2, [/incomplete: 2 of 4 bytes; dropped/]],
    ['an odd byte at the end', riff([format(), chunk('data', [...samples, 1])]), 4, [/incomplete: 1 of 2 bytes/]],
    ['junk after the data', Uint8Array.from([...riff([format(), chunk('data', samples)]), ...new Array(100).fill(0xee)]), 4, [/100 bytes from byte 52 on belong to no chunk; not counted/]],
    ['a cut chunk after the data', riff([format(), chunk('data', samples), chunk('LIST', [1, 2, 3, 4], 900)]), 4, [/12 bytes from byte 52 on belong to no chunk/]],
    ['a whole-file size of 0', riff([format(), chunk('data', samples)], { size: 0 }), 4, [/size of the whole file was never filled in; believed the data chunk's 8 bytes/]],
    ['a wrong whole-file size', riff([format(), chunk('data', samples)], { size: 1000 }), 4, [/declares a file of 1008 bytes but it has 52; believed the chunks/]],
    ['a data chunk of no length', riff([format(), chunk('data', [])]), 0, [/0 frames/]],
    ['a data chunk of no length before another chunk', riff([format(), chunk('data', []), chunk('LIST', ascii('INFO'))]), 0, [/0 frames/]],
    ['less than one frame', riff([format({ bits: 32 }), chunk('data', [1, 2])]), 0, [/incomplete/, /0 frames/]],
    ['two data chunks', riff([format(), chunk('data', samples), chunk('data', i16(9))]), 4, [/2 data chunks; used only number 1, at byte 44, of 8 bytes/]],
    ['an empty data chunk before a full one', riff([format(), chunk('data', []), chunk('data', samples)]), 4, [/2 data chunks; used only number 2, at byte 52, of 8 bytes/]],
    ['two format chunks', riff([format(), format({ channels: 2 }), chunk('data', samples)]), 4, [/2 format chunks; used the first, at byte 12/]],
    ['a format chunk after the data', riff([chunk('data', samples), format()]), 4, [/format chunk at byte 36 comes after the data chunk at byte 20/]],
    ['no pad byte', riff([format({ bits: 8 }), ODD, chunk('LIST', ascii('INFO'))]), 3, [/no pad byte after the odd chunk that ends at byte 47/]],
    ['no pad byte, and more chunks to come', riff([format({ bits: 8 }), ODD, chunk('LIST', [1, 2, 3]).slice(0, -1), chunk('LIST', ascii('more'))]), 3, [/no pad byte after the odd chunk that ends at byte 47; read on with the chunk 'LIST'/]],
    ['no pad byte once, and then one where it belongs', riff([format({ bits: 8 }), ODD, chunk('LIST', [1, 2, 3]), chunk('LIST', ascii('more'))]), 3, [/no pad byte after the odd chunk that ends at byte 47; read on with the chunk 'LIST'/]],
    ['no pad byte once, and then even chunks', riff([format(), UNPADDED, chunk('LIST', ascii('even')), chunk('data', samples)]), 4, [/no pad byte after the odd chunk that ends at byte 47; read on with the chunk 'LIST' right there$/]],
    ['no pad byte twice', riff([format(), UNPADDED, UNPADDED, chunk('data', samples)]), 4, [/no pad byte after the odd chunk that ends at byte 47; .*; so it is with 2 chunks$/]],
    ['no pad byte once, and then one after an even chunk', riff([format(), UNPADDED, [...chunk('LIST', ascii('even')), 0], chunk('data', samples)]), 4, [/no pad byte after the odd chunk that ends at byte 47/, /a pad byte at byte 59 after a chunk of even size/]],
    ['no pad byte before samples that are cut short', riff([format(), UNPADDED, chunk('data', samples, 4000)]), 4, [/no pad byte after the odd chunk that ends at byte 47; read on with the chunk 'data'/, /declares 4000 bytes but the file holds 8/]],
    ['no pad byte before samples whose size was never filled in', riff([format(), UNPADDED, chunk('data', samples, ONES)], { size: ONES }), 4, [/no pad byte after the odd chunk that ends at byte 47/, /no length, so its size was never filled in; recovered 8 bytes/]],
    ['no pad byte before samples of which one reads like the end of a size', riff([format(), UNPADDED, [...ascii('data'), 0x41, 0, 0, 0, 0, 0, ...i16(7, 8)]]), 3, [/no pad byte after the odd chunk that ends at byte 47/, /declares 65 bytes but the file holds 6/]],
    ['no pad byte in a file of 64-bit sizes', riff([ds64(91n, 8n, 4n), format(), UNPADDED, chunk('data', samples, ONES)], { id: 'RF64', size: ONES }), 4, [/no pad byte after the odd chunk that ends at byte 83/]],
    ['no pad byte before an empty chunk at the end', riff([format({ bits: 8 }), ODD, chunk('LIST', [])]), 3, [/no pad byte after the odd chunk/]],
    ['no pad byte before a chunk that is cut', riff([format({ bits: 8 }), ODD, chunk('LIST', [1, 2, 3, 4], 5)]), 3, [/11 bytes from byte 48 on belong to no chunk/]],
    ['no pad byte before a cut header', riff([format({ bits: 8 }), ODD, ascii('LIST1')]), 3, [/4 bytes from byte 48 on belong to no chunk/]],
    ['a second file at its end', Uint8Array.from([...riff([format(), chunk('data', samples)]), ...riff([format(), chunk('data', samples)])]), 4, [/declares a file of 52 bytes but it has 104/]],
  ])('%s', async (_, bytes, frames, patterns) => {
    const got = await infoOf(bytes);
    expect(got.frames).toBe(frames);
    expect(got.warnings).toEqual(patterns.map((p) => expect.stringMatching(p)));
  });

  it('takes a pad byte for one whatever it is, where a chunk follows it', async () => {
    // Without it the next chunk would be 'XLIS' of 1108 bytes, which the file has room for.
    expect(await infoOf(riff([format({ bits: 8 }), ODD, ascii('X'), chunk('LIST', ascii('INFO')), chunk('LIST', new Array(1200).fill(1))]))).toEqual({ frames: 3, warnings: [] });
  });

  it('takes a pad byte for one whatever it is before samples that are cut short', async () => {
    const { info, channels } = await readAll(riff([format(), UNPADDED, ascii('X'), chunk('data', samples, 4000)]));
    expect([info.warnings, channels[0].map((v) => v * 32768)]).toEqual([[expect.stringMatching(/declares 4000 bytes but the file holds 8/)], [1, 2, 3, 4]]);
  });

  it('recovers the samples themselves', async () => {
    const { channels } = await readAll(riff([format(), chunk('data', samples, 0)], { size: 0 }));
    expect(channels[0].map((v) => v * 32768)).toEqual([1, 2, 3, 4]);
  });

  it.each<[string, bigint | undefined, RegExp]>([
    ['0', 0n, /no length, so its size was never filled in; recovered 8 bytes/],
    ['all ones', 0xffffffffffffffffn, /no length, so its size was never filled in; recovered 8 bytes/],
    ['beyond the file', 1n << 60n, /declares 1152921504606846952 bytes but the file holds 8/],
  ])('Wave64 with a data size of %s', async (_, size, pattern) => {
    const payload = [...u16(1), ...u16(1), ...u32(8000), ...u32(16000), ...u16(2), ...u16(16)];
    const got = await infoOf(wave64([wave64Chunk('fmt ', payload), wave64Chunk('data', samples, size)]));
    expect([got.frames, got.warnings]).toEqual([4, [expect.stringMatching(pattern)]]);
  });

  it('Wave64 chunk that is smaller than its own header ends the walk', async () => {
    expect((await refusal(wave64([wave64Chunk('fmt ', new Array(16).fill(1), 23n)]))).message).toMatch(/no chunk from byte 40 on/);
  });
});

describe('crafted files cost bounded work', () => {
  it('gives up on endless empty chunks', async () => {
    const many = new Array(20_000).fill(chunk('junk', [])).flat();
    expect((await refusal(riff([format(), many, chunk('data', i16(1))]))).message).toMatch(/too many other chunks/);
  });

  it('does not allocate by a cue count, a table length or a chunk size', async () => {
    const cue = chunk('cue ', u32(ONES));
    const table = chunk('ds64', [...u64(0n), ...u64(0n), ...u64(0n), ...u32(ONES)]);
    const { frames, warnings } = await infoOf(riff([table, format(), cue, chunk('data', i16(1, 2))]));
    expect([frames, warnings]).toEqual([2, []]);
  });
});

describe('samples that are no numbers', () => {
  it('replaces and counts NaN, infinities and float64 beyond float32, each once', async () => {
    const { reader, channels, info } = await readAll(riff([format({ tag: 3, bits: 32 }), chunk('data', f32(0.5, NaN, Infinity, -Infinity, 0.25))]));
    expect([channels[0], reader.nonFiniteCount]).toEqual([[0.5, 0, 0, 0, 0.25], 3]);
    await reader.readFrames(1, 4, [new Float32Array(4)]);
    expect([reader.nonFiniteCount, info.warnings]).toEqual([3, ['3 samples are not finite numbers; replaced by 0']]);
    expect((await readAll(riff([format({ tag: 3, bits: 64 }), chunk('data', f64(1e300, NaN, 1))]))).reader.nonFiniteCount).toBe(2);
  });

  it('counts only the new part of a stretch that overlaps an earlier one', async () => {
    const reader = await openBytes(riff([format({ tag: 3, bits: 32 }), chunk('data', f32(NaN, 0, NaN, NaN))]));
    await reader.readFrames(1, 2, [new Float32Array(2)]);
    expect(reader.nonFiniteCount).toBe(1);
    await reader.readFrames(0, 4, [new Float32Array(4)]);
    expect(reader.nonFiniteCount).toBe(3);
  });
});
