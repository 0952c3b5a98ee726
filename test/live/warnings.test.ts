import { describe, expect, it } from 'vitest';
import { LinkWatch } from '../../src/live/link-watch.js';
import { chanceOfSilence, SilenceWatch } from '../../src/live/silence-watch.js';
import { measureTrend, TrendWatch } from '../../src/live/trend-watch.js';
import { Watchers } from '../../src/live/watchers.js';
import type { CallRow } from '../../src/schema/rows.js';
import { makeRandom } from '../model/clock-synthetic.js';

describe('dead link', () => {
  it('is told once after 5 s, and that it is back after 2 s', () => {
    const watch = new LinkWatch(['red', 'blue']);
    const told: string[] = [];
    for (let k = 0; k < 60; k++) {
      const t = k * 0.5;
      // Bad from 4 s to 14 s, with a moment of sound at 10 s, and for 3 s from 20 s.
      const isBad = (t >= 4 && t < 14 && t !== 10) || (t >= 20 && t < 23);
      for (const w of watch.add(1, t, t + 0.5, isBad ? 'noise' : 'ok')) told.push(`${w.timeSec} ${w.track} ${w.kind}`);
      expect(watch.add(0, t, t + 0.5, 'ok')).toEqual([]);
    }
    expect(told).toEqual(['9 blue dead-link', '16 blue link-back']);
  });

  it('says what is heard instead', () => {
    const texts = (['silent', 'noise'] as const).map((verdict) => new LinkWatch(['red']).add(0, 0, 6, verdict)[0].text);
    expect(texts[0]).toMatch(/^dead link: for 6 s only silence/);
    expect(texts[1]).toMatch(/^dead link: for 6 s only the noise of a receiver/);
  });

  it('forgets short faults', () => {
    const watch = new LinkWatch(['red']);
    for (let k = 0; k < 100; k++) expect(watch.add(0, k, k + 1, k % 5 < 4 ? 'silent' : 'ok')).toEqual([]);
  });
});

describe('silent bird', () => {
  it('has the chance of two Poisson counts compared exactly', () => {
    // Of 12 events over 100 + 50 s at one rate none lies in the last 50: (2/3)^12.
    expect(chanceOfSilence(12, 100, 50)).toBeCloseTo((2 / 3) ** 12, 12);
    expect(chanceOfSilence(0, 100, 50)).toBe(1);
    expect(chanceOfSilence(5, 0, 50)).toBe(1);
    // The rate known well: exp(-rate * silence).
    expect(chanceOfSilence(1e6, 1e6, 10) / Math.exp(-10)).toBeCloseTo(1, 3);
  });

  /** Calls as a Poisson stream; gives the times of warnings. */
  function stream(seed: number, ratePerSec: number, untilSec: number, deadFromSec = Infinity): { silent: number[]; back: number[] } {
    const { uniform } = makeRandom(seed);
    const watch = new SilenceWatch(['red']);
    const out = { silent: [] as number[], back: [] as number[] };
    let next = -Math.log(1 - uniform()) / ratePerSec;
    for (let t = 0; t < untilSec; t += 0.5) {
      for (const w of watch.addTime(0, t < deadFromSec ? 0.5 : 0, t)) out.silent.push(w.timeSec);
      for (; next < t; next -= Math.log(1 - uniform()) / ratePerSec) for (const w of watch.addCall(0, t)) out.back.push(w.timeSec);
    }
    return out;
  }

  it('is not told of birds that call at their rate, be it for a day', () => {
    // Chance of a false warning: 10^-6 for each of some 86400 gaps of the busiest, and those must exceed a minute as well.
    for (const [seed, rate] of [[1, 1], [2, 0.2], [3, 0.02]] as const) expect(stream(seed, rate, 86400).silent).toEqual([]);
  });

  it('is told once, sooner for a bird that calls often, and again when it calls', () => {
    const quiet = (perMinute: number): { toldAfterSec: number; back: number } => {
      const watch = new SilenceWatch(['red']);
      let told = -1;
      for (let k = 0; k < 60 * perMinute; k++) { watch.addTime(0, 60 / perMinute, k); watch.addCall(0, (k * 60) / perMinute); }
      for (let t = 1; t < 3600; t++) if (watch.addTime(0, 1, 3600 + t).length > 0) { expect(told).toBe(-1); told = t; }
      return { toldAfterSec: told, back: watch.addCall(0, 7200).length };
    };
    // (T / (T + S))^n = 10^-6 at S = 3600 (10^(6/n) - 1).
    expect(quiet(30)).toEqual({ toldAfterSec: 60, back: 1 });
    expect(quiet(2)).toEqual({ toldAfterSec: Math.ceil(3600 * (10 ** (6 / 120) - 1)), back: 1 });
  });

  it('does not count time without a link', () => {
    const watch = new SilenceWatch(['red']);
    for (let k = 0; k < 600; k++) { watch.addTime(0, 2, 2 * k); watch.addCall(0, 2 * k); }
    for (let t = 0; t < 3600; t++) expect(watch.addTime(0, 0, 1200 + t)).toEqual([]);
  });

  it('waits for as long as the bird has been silent before', () => {
    const watch = new SilenceWatch(['red']);
    let t = 0;
    const go = (sec: number): number => { let told = 0; for (let k = 0; k < sec; k++) told += watch.addTime(0, 1, t++).length; return told; };
    for (let bout = 0; bout < 3; bout++) {
      for (let k = 0; k < 300; k++) { go(1); watch.addCall(0, t); }
      // The first long silence is news; as long a one later is not.
      expect(go(600)).toBe(bout === 0 ? 1 : 0);
    }
  });
});

describe('falling signal', () => {
  it('has slope and chance as published', () => {
    // Kendall's S of 10 falling values is -45: z = (45 - 1) / sqrt(10 * 9 * 25 / 18) = 3.9354, one-sided chance 4.15e-5.
    const fall = measureTrend(Array.from({ length: 10 }, (_, k) => ({ tSec: 60 * k, value: -0.5 * k })));
    expect(fall.changeDb).toBeCloseTo(-4.5, 12);
    expect(fall.chance).toBeCloseTo(4.153e-5, 7);
    expect(measureTrend(Array.from({ length: 10 }, (_, k) => ({ tSec: k, value: k }))).chance).toBeGreaterThan(0.9999);
  });

  it('is not told of levels that only scatter, and told of one that falls by 6 dB', () => {
    const { gauss } = makeRandom(11);
    const watch = new TrendWatch(2, 5);
    let toldAt = -1;
    let falseAlarms = 0;
    for (let k = 0; k < 5000; k++) {
      // 4 dB of scatter from call to call.
      if (watch.add(0, k, -30 + 4 * gauss())) falseAlarms++;
      const fallDb = k < 2000 ? 0 : Math.min(20, (k - 2000) / 20);
      const trend = watch.add(1, k, -30 - fallDb + 4 * gauss());
      if (trend && toldAt < 0) {
        toldAt = k;
        expect(trend.changeDb).toBeLessThanOrEqual(-6);
        expect(trend.chance).toBeLessThan(1e-6);
      }
    }
    expect(falseAlarms).toBe(0);
    // 300 calls are looked at: the fall within them is 6 dB from the 120th on, and has to be told while it is below 15 dB.
    expect(toldAt).toBeGreaterThan(2100);
    expect(toldAt).toBeLessThan(2300);
  });

  it('is told again only when it has fallen further', () => {
    const watch = new TrendWatch(1, 1);
    const told: number[] = [];
    for (let k = 0; k < 60; k++) { const trend = watch.add(0, 60 * k, -0.5 * k); if (trend) told.push(Math.round(trend.changeDb)); }
    expect(told.length).toBeGreaterThan(2);
    expect(told.every((v, k) => k === 0 || v <= told[k - 1] - 3)).toBe(true);
  });
});

describe('all warnings together', () => {
  const call = (bird: string, onsetSec: number, part: Partial<CallRow> = {}): CallRow => ({
    callId: 1, bird, onsetSec, offsetSec: onsetSec + 0.1, onsetUtc: '', probability: 0.99, track: bird, levelDb: -30, snrDb: 30, peakHz: 3000, overlaps: 0, runnerUp: '', runnerUpProbability: 0, ...part,
  });

  it('hear a voice that falls on its own track, and no other', () => {
    const watchers = new Watchers(['red', 'blue', 'grey']);
    const told = Array.from({ length: 200 }, (_, k) => watchers.addCalls([
      call('red', 10 * k, { levelDb: -30 - 0.04 * k }), call('blue', 10 * k), call('none', 10 * k, { levelDb: -30 - k }),
      // Doubtful ones, and those measured on another track because the link was down.
      call('grey', 10 * k, { levelDb: -30 - k, probability: 0.6 }), call('grey', 10 * k + 1, { levelDb: -30 - k, track: 'red' }),
    ], 10 * k + 2)).flat();
    expect(told.map((w) => `${w.track} ${w.kind}`)).toEqual(['red falling-signal']);
    expect(told[0].text).toMatch(/^falling signal: its own voice is [67]\.\d dB weaker than [23]\d min before$/);
  });

  it('hear noise that rises, but not that of links known to be down, and go on from what was saved', () => {
    let watchers = new Watchers(['red', 'blue']);
    const told: string[] = [];
    for (let k = 0; k < 120; k++) {
      told.push(...watchers.addFloor(0, 30 * k, -80 + 0.07 * k).map((w) => w.kind), ...watchers.addFloor(1, 30 * k, -80).map((w) => w.kind));
      watchers.addLinks(30 * k, 30 * k + 20, ['ok', 'noise']);
      expect(watchers.endCell(30)).toEqual([false, true]);
      watchers = new Watchers(['red', 'blue'], JSON.parse(JSON.stringify(watchers.save())));
    }
    expect(told).toEqual(['rising-noise']);
  });
});
