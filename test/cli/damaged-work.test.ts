import { cpSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { attributeToFolder } from '../../src/node/attribute-to-folder.js';
import { newFolder, runCli } from './run-cli.js';
import { attributeUntil, countEvents, readResult, writeShortStudy } from './stopped-study.js';

const folder = newFolder();
const stopped = join(folder, 'stopped');
let study = '';
let wanted: Record<string, string> = {};

const DAMAGES: Record<string, (bytes: Buffer) => Buffer> = {
  'bytes flipped': (b) => { const c = Buffer.from(b); for (const at of [0.3, 0.6, 0.95]) c[Math.floor(at * c.length)] ^= 0x04; return c; },
  'checksum flipped': (b) => { const c = Buffer.from(b); c[5] ^= 0x01; return c; },
  'cut short': (b) => b.subarray(0, Math.floor(0.8 * b.length)),
  emptied: () => Buffer.alloc(0),
};

beforeAll(async () => {
  study = writeShortStudy(folder);
  const events = await countEvents(study, join(folder, 'whole'), ['--workers', '1']);
  wanted = readResult(join(folder, 'whole'));
  // Where the first table is written all work is there: that is looked for from behind.
  for (let endAt = events - 60; ; endAt -= 20) {
    rmSync(stopped, { recursive: true, force: true });
    await attributeUntil(study, stopped, ['--workers', '1'], endAt);
    if (!readdirSync(stopped).includes('calls.csv')) break;
  }
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('finished work that was damaged', () => {
  it('is noticed, told in one line and done again, whichever file and whatever damage', async () => {
    const names = readdirSync(join(stopped, 'unfinished')).filter((n) => !/\.\d+-[0-9a-f]+\.part$/.test(n)).sort();
    expect(names).toEqual(['block-000000.part', 'block-000001.part', 'calibration.part', 'header.json', 'look-1-000000.part', 'look-2-000000.part', 'survey-000000.part', 'writing-tables.part']);
    for (const name of names) {
      for (const [damage, apply] of Object.entries(DAMAGES)) {
        const out = join(folder, 'damaged');
        cpSync(stopped, out, { recursive: true });
        const path = join(out, 'unfinished', name);
        writeFileSync(path, apply(readFileSync(path)));
        const notes: string[] = [];
        // Without a whole mark that this run was writing them, the tables that are there could be anybody's.
        const overwrite = name === 'writing-tables.part';
        if (overwrite) await expect(attributeToFolder(study, out, { workers: 0 })).rejects.toMatchObject({ code: 'exists' });
        await attributeToFolder(study, out, { workers: 0, overwrite, onNote: (t) => notes.push(t) });
        expect(readResult(out), `${name}: ${damage}`).toEqual(wanted);
        // What only led to a calibration that is there is not looked at any more.
        const isRead = !/^(look|survey)/.test(name);
        expect(notes.filter((t) => t.startsWith('warning')).map((t) => t.includes(JSON.stringify(path)) && /is damaged/.test(t)), `${name}: ${damage}`).toEqual(isRead ? [true] : []);
        rmSync(out, { recursive: true });
      }
    }
  }, 300_000);

  it('is noticed in what a calibration is made from, while there is none yet', async () => {
    for (const name of ['look-1-000000.part', 'look-2-000000.part', 'survey-000000.part']) {
      const out = join(folder, 'damaged');
      cpSync(stopped, out, { recursive: true });
      rmSync(join(out, 'unfinished', 'calibration.part'));
      const path = join(out, 'unfinished', name);
      writeFileSync(path, DAMAGES['bytes flipped'](readFileSync(path)));
      const { status, err } = runCli(['attribute', study, '--out', out, '--workers', '1']);
      expect(err.split('\n').filter((l) => l.includes('warning'))).toEqual([`warning: ${JSON.stringify(path)} is damaged (its checksum does not fit): this piece of work is done again`]);
      expect(status).toBe(0);
      expect(readResult(out)).toEqual(wanted);
      rmSync(out, { recursive: true });
    }
  }, 300_000);

  it('of another study is not believed where the header is lost', async () => {
    const out = join(folder, 'mixed');
    cpSync(stopped, out, { recursive: true });
    rmSync(join(out, 'unfinished', 'header.json'));
    const notes: string[] = [];
    await expect(attributeToFolder(study, out, { workers: 0, maxOffsetSec: 10 })).rejects.toMatchObject({ code: 'exists' });
    await attributeToFolder(study, out, { workers: 0, maxOffsetSec: 10, overwrite: true, onNote: (t) => notes.push(t) });
    expect(notes.filter((t) => t.startsWith('warning')).length).toBeGreaterThan(5);
    expect(readResult(out)['calls.csv']).toBe(wanted['calls.csv']);
  }, 120_000);
});
