import { expect, test } from 'vitest';
import type { LagReadings } from '../../src/model/clock-readings.js';
import { voteWindows } from '../../src/model/clock-start.js';

/** One exchange between track 0 (reference) and track 1 (second recorder): lag there and lag back, ms. */
function makeExchange(thereMs: number, backMs: number): LagReadings {
  return { count: 2, tSec: Float64Array.of(5, 9), from: Uint16Array.of(0, 1), to: Uint16Array.of(1, 0), lagMs: Float64Array.of(thereMs, backMs), sigmaMs: Float64Array.of(0.01, 0.01), nearMs: Float64Array.of(thereMs, backMs) };
}

const vote = (r: LagReadings) => voteWindows(r, [0, 1], { first: new Set([0]), second: new Set([1]) }, { readMs: () => 0, rateSpanPpm: 10 }, 30);

test('an exchange votes for half the difference of its lags (RFC 5905 section 8)', () => {
  const [window] = vote(makeExchange(5, -1));
  // 2 ms of travel, offset 3 ms; bins are 0.05 ms wide, rates under trial move it by less than one.
  expect(Math.abs(window.offsetMs - 3)).toBeLessThan(0.1);
});

test('exchanges whose sum is no distance give no window, not an offset that is no number', () => {
  expect(vote(makeExchange(-5, 1))).toEqual([]);
});
