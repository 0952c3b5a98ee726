import { execFileSync } from 'node:child_process';
import { cpSync, existsSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeEach, describe, expect, it } from 'vitest';
import { holdsWork, openCheckpointFolder, readCheckpointHeader } from '../../src/node/checkpoint-folder.js';

const root = mkdtempSync(join(tmpdir(), 'volary-'));
afterAll(() => rmSync(root, { recursive: true, force: true }));
const folder = join(root, 'unfinished');
const at = (key: string): string => join(folder, `${key}.part`);
const header = { schema: 1, name: 'a' };
const bytes = (text: string): Uint8Array => new TextEncoder().encode(text);
const text = (found: Uint8Array | undefined): string | undefined => found && new TextDecoder().decode(found);

describe('finished work in a folder', () => {
  const told: string[] = [];
  const open = () => openCheckpointFolder(folder, header, { onDamage: (t) => told.push(t) });
  beforeEach(() => { rmSync(folder, { recursive: true, force: true }); told.length = 0; });

  it('comes back under its key', async () => {
    const work = await open();
    await work.save('block-000001', bytes('one'));
    expect(text(await work.load('block-000001'))).toBe('one');
    expect(await work.load('block-000000')).toBeUndefined();
    expect((await open()).isResumed).toBe(true);
    expect(told).toEqual([]);
  });

  it('is not believed under the name of another piece', async () => {
    const work = await open();
    await work.save('block-000001', bytes('one'));
    for (const key of ['block-000000', 'calibration', 'writing-tables']) {
      cpSync(at('block-000001'), at(key));
      told.length = 0;
      expect(await work.load(key)).toBeUndefined();
      expect(told).toEqual([`warning: ${JSON.stringify(at(key))} is damaged (its checksum does not fit): this piece of work is done again`]);
    }
  });

  it('is known as its own only where it was written with this header, whole and under this key', async () => {
    const work = await open();
    const holds = (h: Record<string, unknown>): Promise<boolean> => holdsWork(folder, h, 'writing-tables');
    expect(await holds(header)).toBe(false);
    writeFileSync(at('writing-tables'), '');
    expect(await holds(header)).toBe(false);
    await work.save('writing-tables', new Uint8Array(0));
    expect(await holds(header)).toBe(true);
    expect(await holds({ ...header, name: 'b' })).toBe(false);
  });

  it.skipIf(process.platform === 'win32')('does not wait for a pipe of its name: it is told, and replaced', async () => {
    const work = await open();
    execFileSync('mkfifo', [at('block-000000')]);
    expect(await work.load('block-000000')).toBeUndefined();
    expect(told).toEqual([expect.stringContaining('is damaged (not a regular file)')]);
    await work.save('block-000000', bytes('zero'));
    expect(text(await work.load('block-000000'))).toBe('zero');
    rmSync(join(folder, 'header.json'));
    execFileSync('mkfifo', [join(folder, 'header.json')]);
    expect(await readCheckpointHeader(folder)).toBe('damaged');
    await open();
    expect(await readCheckpointHeader(folder)).toEqual(header);
  });

  it('says that another run is at work where the folder is gone, and leaves nothing behind', async () => {
    const [mine, other] = [await open(), await open()];
    await mine.save('block-000000', bytes('zero'));
    await other.save('writing-tables', bytes('done'));
    await other.clear('writing-tables');
    await expect(mine.save('block-000001', bytes('one'))).rejects.toMatchObject({ code: 'stale', message: expect.stringMatching(/unfinished": was removed meanwhile: another run is working or has finished in this folder; look whether/) });
    expect(existsSync(folder)).toBe(false);
    await mine.clear('writing-tables');
    expect(readdirSync(root)).toEqual([]);
  });
});
