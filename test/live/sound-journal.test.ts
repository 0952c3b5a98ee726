import { mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { SoundJournal } from '../../src/node/live/sound-journal.js';

let folder = '';
beforeEach(() => { folder = mkdtempSync(join(tmpdir(), 'volary-journal-')); });
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const bytesFrom = (start: number, count: number): Uint8Array => Uint8Array.from({ length: count }, (_, i) => (start + i) % 251);

async function readAll(journal: SoundJournal, from: number): Promise<number[]> {
  const feed = await journal.openFeed(from), out: number[] = [];
  while (!feed.isEnded) out.push(...await feed.read(37));
  await feed.close();
  return out;
}

describe('sound kept of a pipe', () => {
  it('is there for another run, from what is needed on, and no more of it than whole pieces', async () => {
    const first = await SoundJournal.open(folder);
    expect([first.keptBytes, first.firstByte]).toEqual([0, NaN]);
    await first.start(1000);
    for (let at = 1000; at < 1600; at += 100) {
      first.append(bytesFrom(at, 100));
      if (at === 1200 || at === 1400) await first.trim(at - 50);
    }
    // Not closed: the run was killed.
    const second = await SoundJournal.open(folder);
    expect([second.firstByte, second.endByte]).toEqual([1300, 1600]);
    expect(await readAll(second, 1350)).toEqual([...bytesFrom(1350, 250)]);
    first.close();
    await second.clear();
    expect(readdirSync(folder)).toEqual([]);
  });

  it('leaves out what does not join the newest, and files that are not its own', async () => {
    writeFileSync(join(folder, 'watch-sound-0.raw'), bytesFrom(0, 10));
    writeFileSync(join(folder, 'watch-sound-20.raw'), bytesFrom(20, 10));
    writeFileSync(join(folder, 'watch-sound-30.raw'), bytesFrom(30, 5));
    writeFileSync(join(folder, 'watch-sound-x.raw'), 'mine');
    const journal = await SoundJournal.open(folder);
    expect([journal.firstByte, journal.endByte, journal.keptBytes]).toEqual([20, 35, 15]);
    await journal.start(100);
    expect(readdirSync(folder).sort()).toEqual(['watch-sound-100.raw', 'watch-sound-x.raw']);
    journal.close();
  });

  it('says so where the disk does not take it', async () => {
    const journal = await SoundJournal.open(folder);
    await journal.start(0);
    journal.close();
    expect(() => journal.append(bytesFrom(0, 4))).toThrow(/watch-sound-0\.raw": sound cannot be kept/);
  });
});
