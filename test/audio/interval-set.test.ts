import { describe, expect, it } from 'vitest';
import { IntervalSet } from '../../src/audio/interval-set.js';
import { createNoise } from './build-files.js';

describe('IntervalSet', () => {
  it('returns only what is new and merges what touches', () => {
    const set = new IntervalSet();
    expect(set.add(10, 20)).toEqual([[10, 20]]);
    expect(set.add(30, 40)).toEqual([[30, 40]]);
    expect(set.add(15, 35)).toEqual([[20, 30]]);
    expect([set.totalLength, set.intervalCount, set.firstStart]).toEqual([30, 1, 10]);
    expect(set.add(5, 5)).toEqual([]);
    expect(set.add(40, 41)).toEqual([[40, 41]]);
    expect(set.intervalCount).toBe(1);
    expect(set.add(0, 100)).toEqual([[0, 10], [41, 100]]);
  });

  it('agrees with a plain array of flags', () => {
    const set = new IntervalSet();
    const flags = new Array(200).fill(false);
    const noise = createNoise(3);
    for (let k = 0; k < 60; k++) {
      const start = Math.floor(noise() * 190);
      const end = start + Math.floor(noise() * 10);
      const fresh = new Set<number>();
      for (let i = start; i < end; i++) if (!flags[i]) { flags[i] = true; fresh.add(i); }
      const got = new Set(set.add(start, end).flatMap(([s, e]) => Array.from({ length: e - s }, (_, i) => s + i)));
      expect(got).toEqual(fresh);
      expect(set.totalLength).toBe(flags.filter(Boolean).length);
      expect(set.intervalCount).toBe(flags.filter((f, i) => f && !flags[i - 1]).length);
    }
  });
});

it('tells which parts of a span are covered', () => {
  const set = new IntervalSet();
  for (const [a, b] of [[10, 20], [30, 40], [40, 45]]) set.add(a, b);
  expect(set.within(0, 100)).toEqual([[10, 20], [30, 45]]);
  expect(set.within(15, 32)).toEqual([[15, 20], [30, 32]]);
  expect(set.within(20, 30)).toEqual([]);
  expect(set.within(12, 13)).toEqual([[12, 13]]);
  expect(new IntervalSet().within(0, 9)).toEqual([]);
});
