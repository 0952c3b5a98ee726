import { describe, expect, it } from 'vitest';
import { deriveExclusions } from '../../src/analysis/exclusions/derive-exclusions.js';
import { areSameWindows } from '../../src/analysis/exclusions/same-windows.js';
import { listKnownBirds, refuseUnknownBirds } from '../../src/analysis/exclusions/known-birds.js';
import { UsableTime } from '../../src/analysis/exclusions/usable-time.js';
import type { HandlingRow } from '../../src/schema/analysis-rows.js';
import type { SoundRow, TrackHourRow } from '../../src/schema/rows.js';
import { readHandling, readMovement } from '../../src/table/handling.js';

const DAY = 86400;
const hour = (track: string, startSec: number, usableSec: number, lostShare = 1 - usableSec / 3600): TrackHourRow => ({ track, recorder: 'one', startSec, usableSec, noiseFloorDb: -80, gainDb: 0, lostShare });
const lost = (track: string, onsetSec: number, offsetSec: number): SoundRow => ({ kind: 'dropout', track, onsetSec, offsetSec, levelDb: NaN, source: '' });

describe('handling log', () => {
  it('reads times of day and seconds, in order', () => {
    const rows = readHandling('bird,time,what,note\nred,2031-05-01T08:30:00+02:00,battery,x\n,60.5,fitted,\nblue,2031-05-01 06:00Z,removed,\n', 'h.csv', '2031-05-01T06:00:00Z');
    expect(rows).toEqual([{ bird: 'blue', timeSec: 0, what: 'removed' }, { bird: '', timeSec: 60.5, what: 'fitted' }, { bird: 'red', timeSec: 1800, what: 'battery' }]);
  });

  it.each<[string, string | undefined, string]>([
    ['red,soon,fitted', undefined, 'row 2 column time: wrong value; got "soon"'],
    ['red,2031-05-01T06:00:00,fitted', '2031-05-01T06:00:00Z', 'row 2 column time'],
    ['red,2031-05-01T06:00:00Z,fitted', undefined, "the study's start is not known"],
    ['red,5,caught', undefined, 'expected one of fitted, battery, removed, other'],
    ['none,5,fitted', undefined, 'callers without a tag'],
  ])('refuses %s', (line, start, message) => {
    expect(() => readHandling(`bird,time,what\n${line}\n`, 'h.csv', start)).toThrow(message);
  });

  it('reads a movement table', () => {
    expect(readMovement('bird,t_s,value\nred,2,0.5\nred,1,0.25\n', 'm.csv').map((r) => r.value)).toEqual([0.25, 0.5]);
    expect(() => readMovement('bird,t_s,value\nred,2,much\n', 'm.csv')).toThrow('row 2 column value');
  });
});

describe('windows by the handling log', () => {
  const log: HandlingRow[] = [
    { bird: '', timeSec: 3600, what: 'fitted' }, { bird: 'red', timeSec: 6 * DAY, what: 'battery' }, { bird: 'blue', timeSec: 8 * DAY, what: 'removed' }, { bird: 'blue', timeSec: 9 * DAY, what: 'fitted' },
  ];

  it('leaves out the usual days, the time before the first fitting and without a tag', () => {
    const rows = deriveExclusions(log, ['red', 'blue'], 10 * DAY);
    expect(rows.map((r) => [r.bird, r.startSec, r.endSec])).toEqual([
      ['red', 0, 3600], ['red', 3600, 3600 + 3 * DAY], ['red', 6 * DAY, 7 * DAY],
      ['blue', 0, 3600], ['blue', 3600, 3600 + 3 * DAY], ['blue', 8 * DAY, 9 * DAY], ['blue', 9 * DAY, 10 * DAY],
    ]);
    expect(rows.map((r) => r.reason)).toContain('tag removed');
  });

  it('takes other days, and knows a bird that wore its tag before the study', () => {
    const rows = deriveExclusions([{ bird: 'red', timeSec: DAY, what: 'battery' }], ['red', 'blue'], 10 * DAY, { fitted: 3, battery: 0.5, other: 0 });
    expect(rows.map((r) => [r.bird, r.startSec, r.endSec])).toEqual([['red', DAY, 1.5 * DAY]]);
  });
});

describe('usable time', () => {
  const hours = [hour('red', 0, 3600), hour('red', 3600, 1800), hour('red', 7200, 600, 0), hour('blue', 0, 10)];
  const time = new UsableTime('red', { hours, sounds: [lost('red', 3600, 5400), lost('blue', 0, 3600)], exclusions: [{ bird: '', startSec: 1800, endSec: 2400, reason: '' }, { bird: 'red', startSec: 2000, endSec: 4500, reason: '' }] });

  it('takes excluded windows out of what the track table calls usable', () => {
    expect(time.recordedSec).toBe(3600 + 1800 + 600);
    // 0-1800 whole, 4500-7200 at half, the last hour is 600 s long.
    expect(time.measureSec(-1, 1e9)).toBeCloseTo(1800 + 1350 + 600, 6);
    expect(time.excludedSec).toBeCloseTo(1800 + 450, 6);
    expect(time.measureSec(1700, 4600)).toBeCloseTo(100 + 50, 6);
    expect(time.endSec).toBe(7800);
  });

  it('tells which moments count', () => {
    expect([0, 1799, 1800, 4499, 4500, 7799, 7800].map((t) => time.isExcluded(t))).toEqual([false, false, true, true, false, false, true]);
    expect([4500, 5399, 5400].map((t) => [time.isLost(t), time.includes(t)])).toEqual([[true, false], [true, false], [false, true]]);
  });

  it('agrees with counting second by second', () => {
    const covered = (t: number): number => (t < 3600 ? 1 : t < 7200 ? 0.5 : t < 7800 ? 1 : 0) * (t >= 1800 && t < 4500 ? 0 : 1);
    for (const [from, to] of [[0, 7800], [100, 3700], [4400, 7300], [7000, 9000]]) {
      let sum = 0;
      for (let t = from; t < to; t++) sum += covered(t);
      expect(time.measureSec(from, to)).toBeCloseTo(sum, 6);
    }
  });
});

describe('windows', () => {
  const a = { bird: 'red', startSec: 0, endSec: 60 };
  const b = { bird: '', startSec: 100, endSec: 200 };

  it('are the same whatever their order, within what records round', () => {
    expect(areSameWindows([], [])).toBe(true);
    expect(areSameWindows([a, b], [b, { ...a, endSec: 60.0004 }])).toBe(true);
    expect(areSameWindows([a], [a, b])).toBe(false);
    expect(areSameWindows([a, b], [a, a])).toBe(false);
    for (const change of [{ bird: 'blue' }, { startSec: 1 }, { endSec: 59 }]) expect(areSameWindows([a], [{ ...a, ...change }]), JSON.stringify(change)).toBe(false);
  });

  it('are of birds that have a track or a call', () => {
    const known = listKnownBirds([{ track: 'red' }], [{ bird: 'blue' }, { bird: 'none' }, { bird: 'red' }]);
    expect(known).toEqual(['blue', 'red']);
    expect(() => refuseUnknownBirds([a, b, { bird: 'blue' }], known, 'x.csv')).not.toThrow();
    expect(() => refuseUnknownBirds([a, { bird: 'none' }], known, 'x.csv')).toThrow('x.csv entry 2: a bird that is in no table; got "none"; expected blue, red; correct the name');
  });
});
