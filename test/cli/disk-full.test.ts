import { spawnSync } from 'node:child_process';
import { mkdirSync, readdirSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { newFolder } from './run-cli.js';
import { attributeUntil, readResult, writeShortStudy, type Ended } from './stopped-study.js';

const folder = newFolder();
const disk = join(folder, 'disk');
const ARGS = ['--workers', '1'];
let study = '';
let wanted: Record<string, string> = {};

const mount = (...args: string[]): boolean => process.platform === 'linux' && spawnSync('mount', args).status === 0;
/** The file that an error names; the error must be one line, status 1, and tell how to mend it. */
function readRefusal({ status, notes }: Ended, out: string): string {
  const lines = notes.split(/[\r\n]+/).filter((l) => l.startsWith('volary'));
  expect(lines).toHaveLength(1);
  const found = /^volary attribute: "([^"]+)": cannot be written; got no space left on the disk; make room, then run the same command again$/.exec(lines[0]);
  expect(found, lines[0]).not.toBeNull();
  expect(status).toBe(1);
  expect(notes).not.toMatch(/^\s+at /m);
  expect(found![1].startsWith(out)).toBe(true);
  return found![1].slice(out.length + 1);
}

beforeAll(async () => {
  study = writeShortStudy(folder);
  expect((await attributeUntil(study, join(folder, 'whole'), ARGS)).status).toBe(0);
  wanted = readResult(join(folder, 'whole'));
  mkdirSync(disk);
});
afterAll(() => {
  if (process.platform === 'linux') spawnSync('umount', [disk]);
  rmSync(folder, { recursive: true, force: true });
});

describe('a full disk', () => {
  it.each(['while a file is written', 'when it is written through'])('is told in one line, %s; again with room for one more file, every file is reached and nothing is lost', async (when) => {
    const out = join(folder, 'result');
    const reached: string[] = [];
    let ended: Ended;
    // Two blocks may be written at the same time; where both did not get through, there must be room for two.
    const room = (): number => (reached.length === 0 ? 0 : reached.at(-1)!.includes('block') ? 2 : 1);
    while ((ended = await attributeUntil(study, out, ARGS, undefined, { ROOM_FOR: String(room()), LATE: when.startsWith('while') ? '' : '1' })).status !== 0) {
      reached.push(readRefusal(ended, out).replaceAll('\\', '/'));
      // Half a file is not left behind.
      expect([...readdirSync(out), ...readdirSync(join(out, 'unfinished'))].filter((n) => /\.\d+-[0-9a-f]+\.part$/.test(n))).toEqual([]);
      expect(reached.length).toBeLessThan(20);
      // Each run says first that it writes tables, which takes all the room.
      if (!reached.at(-1)!.startsWith('unfinished')) break;
    }
    expect(reached.filter((n) => !n.includes('writing'))).toEqual([
      ...['header.json', 'survey-000000.part', 'look-1-000000.part', 'look-2-000000.part', 'calibration.part'].map((n) => `unfinished/${n}`),
      expect.stringMatching(/^unfinished\/block-00000[01]\.part$/), expect.stringMatching(/^\w+\.parquet$/),
    ]);
    expect((await attributeUntil(study, out, ARGS)).status).toBe(0);
    expect(readResult(out)).toEqual(wanted);
    rmSync(out, { recursive: true });
  }, 240_000);

  it('of the system itself, which grows a little each time, ends with the same bytes', async (context) => {
    if (!mount('-t', 'tmpfs', '-o', 'size=16k', 'tmpfs', disk)) context.skip('no file system can be mounted here (asks for root on Linux)');
    const out = join(disk, 'result');
    const reached = new Set<string>();
    for (let sizeKib = 16; ; sizeKib += 24) {
      expect(mount('-o', `remount,size=${sizeKib}k`, disk)).toBe(true);
      const ended = await attributeUntil(study, out, ARGS);
      if (ended.status === 0) break;
      reached.add(readRefusal(ended, out));
      expect(sizeKib).toBeLessThan(2000);
    }
    expect(reached.size).toBeGreaterThan(3);
    // The result lies one folder deeper, and names its study from there.
    const found = readResult(out);
    expect({ ...found, 'run.json': found['run.json'].replace('"../../study.json"', '"../study.json"') }).toEqual(wanted);
  }, 240_000);
});
