import { describe, expect, it } from 'vitest';
import { computeFactor, listDayFactors } from '../../src/simulate/days/handling-factor.js';
import { simulateDays } from '../../src/simulate/days/simulate-days.js';
import type { Days } from '../../src/simulate/days/days.js';

const STUDY: Days = {
  days: 3, birds: [{ name: 'red', callsPerHour: 40 }, { name: 'blue', callsPerHour: 30, songsPerHour: 0 }, { name: 'grey', callsPerHour: 30 }],
  pairs: [{ caller: 'red', replier: 'blue', probability: 0.4, latencySec: 0.25, spread: 0.3 }],
};

describe('study of several days', () => {
  const study = simulateDays(STUDY, 3);

  it('is the same for the same seed', () => {
    expect(simulateDays(STUDY, 3)).toEqual(study);
    expect(simulateDays(STUDY, 4).calls).not.toEqual(study.calls);
  });

  it('has replies with the probability and latency asked for', () => {
    const asked = study.trueCalls.filter((c) => c.bird === 'red' && !c.isSong);
    const replies = study.trueCalls.filter((c) => c.replyTo === 'red');
    // A bird that is calling does not answer: a little below .4.
    expect(replies.length / asked.length).toBeGreaterThan(0.36);
    expect(replies.length / asked.length).toBeLessThan(0.42);
    const latencies = replies.map((r) => r.onsetSec - Math.max(...asked.filter((a) => a.onsetSec < r.onsetSec).map((a) => a.onsetSec))).sort((a, b) => a - b);
    // Median of some 600 log-normal values: standard error 1.25 * .3 / 24 = 1.5 %; four of these.
    expect(Math.abs(latencies[latencies.length >> 1] / 0.25 - 1)).toBeLessThan(0.065);
    expect(study.truth.pairs[0].replies).toBe(replies.length);
  });

  it('reports calls with calibrated probabilities and the true bird among the two', () => {
    const wrong = simulateDays({ ...STUDY, attribution: { missed: 0.1, wrong: 0.1, ghosts: 0 }, links: { lostPerDay: 0 } }, 8);
    let right = 0;
    let sum = 0;
    let next = 0;
    for (const row of wrong.calls) {
      while (next < wrong.trueCalls.length && wrong.trueCalls[next].onsetSec < row.onsetSec - 0.006) next++;
      const near = wrong.trueCalls.slice(next, next + 6).filter((c) => Math.abs(c.onsetSec - row.onsetSec) < 0.006);
      expect(near.some((c) => c.bird === row.bird || c.bird === row.runnerUp)).toBe(true);
      if (near.some((c) => c.bird === row.bird)) right++;
      sum += row.probability;
    }
    const n = wrong.calls.length;
    expect(Math.abs(right - sum) / n).toBeLessThan(4 * Math.sqrt(0.09 / n));
    expect(Math.abs(n / wrong.trueCalls.length - 0.9)).toBeLessThan(4 * Math.sqrt(0.09 / n));
  });

  it('keeps tables in order and within the study', () => {
    expect(study.calls.every((c, i) => c.callId === i + 1 && (i === 0 || c.onsetSec >= study.calls[i - 1].onsetSec) && c.offsetSec > c.onsetSec)).toBe(true);
    for (const row of study.tracks) {
      const lost = study.sounds.filter((s) => s.kind === 'dropout' && s.track === row.track).reduce((s, d) => s + Math.max(0, Math.min(row.startSec + 3600, d.offsetSec) - Math.max(row.startSec, d.onsetSec)), 0);
      expect(row.usableSec).toBeCloseTo(3600 - lost, 6);
    }
  });

  it('fades effects of handling as it says', () => {
    const effect = { calls: 0.4, body: 2, days: 3, shape: 'linear' as const };
    expect([-1, 0, 1.5, 3, 9].map((d) => computeFactor(effect, 'calls', d))).toEqual([1, 0.4, 0.7, 1, 1]);
    expect(listDayFactors(effect, 'calls')).toEqual([0.5, 0.7, 0.9, 1]);
    expect(listDayFactors({ ...effect, shape: 'step', days: 1 }, 'body')).toEqual([2, 1]);
  });

  it.each<[unknown, string]>([
    [{ days: 2 }, "'birds' is missing"],
    [{ birds: [{ name: 'a' }] }, 'birds'],
    [{ birds: [{ name: 'a' }, { name: 'a' }] }, 'birds[1].name: two birds share a name'],
    [{ birds: [{ name: 'a' }, { name: 'none' }] }, 'birds[1].name'],
    [{ birds: [{ name: 'a' }, { name: 'b' }], pairs: [{ caller: 'a', replier: 'c' }] }, 'pairs[0].replier: no such bird'],
    [{ birds: [{ name: 'a' }, { name: 'b' }, { name: 'c' }], pairs: [{ caller: 'a', replier: 'b', probability: 0.6 }, { caller: 'a', replier: 'c', probability: 0.6 }] }, 'go on for ever'],
    [{ birds: [{ name: 'a' }, { name: 'b' }], days: 2, handling: [{ day: 3, what: 'fitted' }] }, 'handling[0].day: after the end'],
    [{ birds: [{ name: 'a' }, { name: 'b' }], lightHours: [20, 6] }, 'lightHours'],
    [{ birds: [{ name: 'a' }, { name: 'b' }], wings: 2 }, "unknown key 'wings'"],
  ])('refuses %j', (input, message) => {
    expect(() => simulateDays(input as Days, 1)).toThrow(message);
  });
});
