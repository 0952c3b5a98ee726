import { mkdtempSync, readFileSync, rmSync, appendFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { LoadMonitor } from '../../src/node/live/load-monitor.js';
import { RowLog } from '../../src/node/live/row-log.js';

const folder = mkdtempSync(join(tmpdir(), 'volary-log-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('table that grows', () => {
  it('takes lines of a killed run for written when they come again, and refuses others', () => {
    const path = join(folder, 'a.csv');
    const first = new RowLog(path, 'head\n', 0, true);
    expect(first.append('one')).toBe(true);
    const saved = first.takenBytes;
    for (const line of ['zwölf', 'three']) first.append(line);
    first.close();
    appendFileSync(path, 'cut in the mid');
    const second = new RowLog(path, 'head\n', saved, true);
    expect(second.takenBytes).toBe(saved);
    expect([second.append('zwölf'), second.append('three'), second.append('four')]).toEqual([false, false, true]);
    expect(second.readLastLine()).toBe('four');
    second.close();
    expect(readFileSync(path, 'utf8')).toBe('head\none\nzwölf\nthree\nfour\n');
    const third = new RowLog(path, 'head\n', saved, true);
    expect(() => third.append('other')).toThrow(/not the one/);
    third.close();
    // Where the sound is gone, what is there stays.
    const fourth = new RowLog(path, 'head\n', saved, false);
    expect(fourth.append('five')).toBe(true);
    fourth.close();
    expect(readFileSync(path, 'utf8')).toBe('head\none\nzwölf\nthree\nfour\nfive\n');
    expect(() => new RowLog(path, 'head\n', 1000, true)).toThrow(/is shorter than it was/);
  });
});

describe('load', () => {
  it('is told when work is slower than the recorder, by how much, and when it has caught up', () => {
    const monitor = new LoadMonitor();
    const told: string[] = [];
    // 0.8 times real time for 30 s, then 4 times.
    let heard = 0;
    for (let s = 0; s < 60; s++) {
      const arrived = s;
      heard = Math.min(arrived, heard + (s < 30 ? 0.8 : 4));
      told.push(...monitor.look({ nowMs: 1000 * s, heardSec: heard, waitingSec: arrived - heard, isHeldBack: s >= 20 && s < 30 }, true).map((line) => `${s} ${line}`));
    }
    expect(told[0]).toMatch(/^1\d falling behind: \d s of sound wait, worked on at 0\.[78]\d times real time$/);
    expect(told.some((t) => t.includes('the sender is being held back'))).toBe(true);
    expect(told[told.length - 1]).toMatch(/caught up/);
  });

  it('is not told while a long file is worked through fast, and silence of the recorder is', () => {
    const monitor = new LoadMonitor();
    const told: string[] = [];
    for (let s = 0; s < 20; s++) told.push(...monitor.look({ nowMs: 1000 * s, heardSec: 20 * s, waitingSec: 4000 - 20 * s, isHeldBack: true }, true));
    expect(told).toEqual([]);
    for (let s = 20; s < 40; s++) told.push(...monitor.look({ nowMs: 1000 * s, heardSec: 400, waitingSec: 0, isHeldBack: false }, s === 30).map((line) => `${s} ${line}`));
    expect(told.map((t) => t.replace(/:.*/, ''))).toEqual(['24 no sound has arrived for 5 s', '30 sound arrives again after 11 s', '35 no sound has arrived for 5 s']);
  });
});
