import { mkdtempSync, readFileSync, readdirSync, symlinkSync, writeFileSync, lstatSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { prepareFolder, writeFileAtomic } from '../../src/node/write-files.js';

const newFolder = (): string => mkdtempSync(join(tmpdir(), 'volary-'));

describe('writing files', () => {
  it('writes whole files and leaves nothing else behind', async () => {
    const folder = newFolder();
    await writeFileAtomic(join(folder, 'a b.csv'), 'x\n');
    await writeFileAtomic(join(folder, 'bytes'), new Uint8Array([1, 2]));
    expect(readdirSync(folder).sort()).toEqual(['a b.csv', 'bytes']);
    expect([...readFileSync(join(folder, 'bytes'))]).toEqual([1, 2]);
  });

  it('replaces a file only when told', async () => {
    const path = join(newFolder(), 'a');
    writeFileSync(path, 'old');
    await expect(writeFileAtomic(path, 'new')).rejects.toThrow('is there already; choose another place or add --force');
    expect(readFileSync(path, 'utf8')).toBe('old');
    await writeFileAtomic(path, 'new', { overwrite: true });
    expect(readFileSync(path, 'utf8')).toBe('new');
  });

  it('writes through a link and refuses a folder', async () => {
    const folder = newFolder();
    writeFileSync(join(folder, 'real'), 'old');
    symlinkSync('real', join(folder, 'link'));
    await writeFileAtomic(join(folder, 'link'), 'new', { overwrite: true });
    expect(lstatSync(join(folder, 'link')).isSymbolicLink()).toBe(true);
    expect(readFileSync(join(folder, 'real'), 'utf8')).toBe('new');
    await expect(writeFileAtomic(folder, 'x', { overwrite: true })).rejects.toThrow('is a folder');
  });

  it('says in one line where it cannot write', async () => {
    const folder = newFolder();
    await expect(writeFileAtomic(join(folder, 'no', 'a'), 'x')).rejects.toThrow('cannot be written; got its folder is not there');
    writeFileSync(join(folder, 'file'), '');
    await expect(prepareFolder(join(folder, 'file', 'deep'), [])).rejects.toThrow('a part of the path is a file');
  });

  it('finds what is in the way before the work begins', async () => {
    const folder = newFolder();
    await prepareFolder(join(folder, 'new', 'deep'), ['a']);
    writeFileSync(join(folder, 'new', 'deep', 'a'), '');
    await expect(prepareFolder(join(folder, 'new', 'deep'), ['b', 'a'])).rejects.toThrow('is there already');
    await prepareFolder(join(folder, 'new', 'deep'), ['b', 'a'], { overwrite: true });
  });
});
