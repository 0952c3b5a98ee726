import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { countSampleBlocks, fingerprintFile, sampleFile } from '../../src/node/fingerprint-file.js';

const folder = mkdtempSync(join(tmpdir(), 'volary-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const path = join(folder, 'a.wav');
const MIB = 2 ** 20;
const content = Buffer.from(Uint8Array.from({ length: 5 * MIB }, (_, k) => (k * 2654435761) >>> 24));

async function sampleWith(change: (bytes: Buffer) => void, blocks = 65, size = content.length): Promise<string | null> {
  const bytes = Buffer.from(content.subarray(0, size));
  change(bytes);
  writeFileSync(path, bytes);
  return sampleFile(path, blocks);
}

describe('the content of a file here and there', () => {
  it('shows a change of its beginning, its middle and its end, and of a stretch longer than what lies between', async () => {
    const same = await sampleWith(() => undefined);
    expect(await sampleWith(() => undefined)).toBe(same);
    const changes: ((b: Buffer) => void)[] = [(b) => { b[0] ^= 1; }, (b) => { b[b.length >> 1] ^= 1; }, (b) => { b[b.length - 1] ^= 1; }, (b) => { b.fill(0, MIB, MIB + 100_000); }];
    for (const change of changes) expect(await sampleWith(change)).not.toBe(same);
    // The ends alone do not show it.
    const ends = await fingerprintFile(path);
    await sampleWith(() => undefined);
    expect(await fingerprintFile(path)).toEqual(ends);
  });

  it('of a small file is all of it', async () => {
    const same = await sampleWith(() => undefined, 65, MIB);
    for (const k of [1, 20001, 54321, 777777]) expect(await sampleWith((b) => { b[k] ^= 1; }, 65, MIB)).not.toBe(same);
  });

  it('is nothing where there is no file', async () => {
    expect([await sampleFile(join(folder, 'none'), 65), await sampleFile(folder, 65), await fingerprintFile(folder)]).toEqual([null, null, null]);
  });

  it('is looked at in fewer places of many files, always in the middle too', () => {
    expect([1, 8, 252, 2880, 100_000].map(countSampleBlocks)).toEqual([65, 65, 65, 9, 9]);
    for (let files = 1; files < 3000; files += 7) expect(countSampleBlocks(files) % 2).toBe(1);
  });
});
