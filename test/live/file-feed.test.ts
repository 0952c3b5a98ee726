import { appendFileSync, mkdtempSync, rmSync, truncateSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { FileFeed } from '../../src/node/live/feeds.js';

const folder = mkdtempSync(join(tmpdir(), 'volary-feed-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const bytesFrom = (start: number, count: number): Uint8Array => Uint8Array.from({ length: count }, (_, i) => (start + i) % 251);

function writeSound(name: string, count: number): string {
  const path = join(folder, name);
  writeFileSync(path, bytesFrom(0, count));
  return path;
}

describe('a file that grows', () => {
  it('is read from a place on, and on as it grows', async () => {
    const path = writeSound('grows.raw', 100), feed = await FileFeed.open(path, 10, 30);
    expect(await feed.read(50)).toEqual(bytesFrom(40, 50));
    expect(await feed.read(50)).toEqual(bytesFrom(90, 10));
    expect(await feed.read(50)).toEqual(new Uint8Array(0));
    appendFileSync(path, bytesFrom(100, 5));
    expect(await feed.read(50)).toEqual(bytesFrom(100, 5));
    await feed.close();
  });

  it.each([['behind what was read', 60], ['before it', 20]])('is refused once it is cut short %s, while bytes wait', async (_, size) => {
    const path = writeSound(`cut-${size}.raw`, 100), feed = await FileFeed.open(path, 0, 0);
    await feed.read(40);
    expect(feed.countWaiting()).toBe(60);
    truncateSync(path, size);
    await expect(feed.read(10)).rejects.toMatchObject({ code: 'unreadable', message: expect.stringMatching(new RegExp(`cut-${size}.raw": has become shorter while it was being read; got ${size} bytes; expected at least 100`)) as string });
    await feed.close();
  });
});

describe('the sound that was heard', () => {
  it('is known again in a file that has grown since, wherever the sound begins', async () => {
    const path = writeSound('heard.raw', 200_000), first = await FileFeed.open(path, 44, 0), heard = await first.digestSound(150_000, 120_000);
    await first.close();
    appendFileSync(path, bytesFrom(200_000, 1000));
    const second = await FileFeed.open(path, 44, 120_000);
    await second.requireSameSound(heard);
    await second.close();
  });

  it.each([['where it begins', 44, /other sound in its first 65536 bytes/], ['before the place', 44 + 120_000 - 1, /other sound before byte 120044/]])('is missed where another file differs %s', async (_, at, message) => {
    const path = writeSound(`other-${at}.raw`, 200_000), feed = await FileFeed.open(path, 44, 120_000), heard = await feed.digestSound(150_000, 120_000);
    const other = bytesFrom(0, 200_000);
    other[at] ^= 1;
    writeFileSync(path, other);
    await expect(feed.requireSameSound(heard)).rejects.toMatchObject({ code: 'stale', message: expect.stringMatching(message) as string });
    await feed.close();
  });
});
