import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { open } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { findSamplesEnd, readGrowingWav } from '../../src/node/live/growing-wav.js';

const folder = mkdtempSync(join(tmpdir(), 'volary-growing-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const number32 = (value: number): number[] => [0, 8, 16, 24].map((shift) => (value >>> shift) & 255);
const text = (id: string): number[] => Array.from(id, (c) => c.charCodeAt(0));
const chunk = (id: string, length: number, declared = length): number[] => [...text(id), ...number32(declared), ...new Array<number>(length).fill(37)];
/** One track of 24 bit, so that an odd number of samples has an odd number of bytes. */
const FORMAT = [...text('fmt '), ...number32(16), 1, 0, 1, 0, ...number32(48000), ...number32(144000), 3, 0, 24, 0];
const DATA_BYTE = 44;

async function readEnd(name: string, rest: number[]): Promise<{ end: number; size: number; head: unknown }> {
  const bytes = Uint8Array.from([...text('RIFF'), ...number32(0), ...text('WAVE'), ...FORMAT, ...rest]), path = join(folder, `${name}.wav`);
  writeFileSync(path, bytes);
  const handle = await open(path, 'r');
  try {
    return { end: await findSamplesEnd(handle, DATA_BYTE, bytes.length), size: bytes.length, head: await readGrowingWav(handle, path) };
  } finally {
    await handle.close();
  }
}

describe('a WAVE file that is being written', () => {
  it('says by its head what its samples are', async () => {
    const { head } = await readEnd('head', chunk('data', 300, 0));
    expect(head).toEqual({ sampleRateHz: 48000, channelCount: 1, coding: 's24', dataByte: DATA_BYTE });
  });

  it.each([
    ['without a length', chunk('data', 300, 0)],
    ['with the length unknown', chunk('data', 300, 0xffffffff)],
    ['with a length from before it grew', chunk('data', 600, 300)],
    ['with samples behind that length that look like a chunk but end elsewhere', [...chunk('data', 300), ...chunk('LIST', 40, 30)]],
    ['with all of its samples', chunk('data', 300)],
    ['with all of its samples and a pad byte that is due', chunk('data', 303)],
  ])('is sound to its end %s', async (name, rest) => {
    const { end, size } = await readEnd(name, rest);
    expect(end).toBe(size);
  });

  it.each([
    ['behind even samples', 300, [...chunk('LIST', 26)]],
    ['behind odd samples and their pad byte', 303, [0, ...chunk('LIST', 26)]],
    ['behind odd samples without the pad byte', 303, [...chunk('LIST', 26)]],
    ['of odd size with its pad byte', 300, [...chunk('LIST', 27), 0]],
    ['of odd size without its pad byte', 300, [...chunk('LIST', 27)]],
    ['and another, the first of odd size without its pad byte', 300, [...chunk('LIST', 27), ...chunk('bext', 40)]],
    ['and another, the first of odd size with its pad byte', 303, [0, ...chunk('LIST', 27), 0, ...chunk('bext', 41)]],
  ])('is sound to the length filled in once a chunk has been written %s', async (name, length, behind) => {
    expect((await readEnd(name, [...chunk('data', length), ...behind])).end).toBe(DATA_BYTE + length);
  });
});
