/** Clocks that a live run follows for hours, from tables of candidates of known truth: each batch is heard with the clock of its time. */
import { describe, expect, it } from 'vitest';
import type { Candidate } from '../../src/evidence/candidate.js';
import { joinClock, Learning } from '../../src/live/learning.js';
import { readOffset, readUncertainty, type ClockModel } from '../../src/model/clock.js';
import { fitClocks } from '../../src/model/fit-clock.js';
import { fitGains } from '../../src/model/fit-gains.js';
import { makeCandidates, readTrueOffset, type SyntheticTable } from '../model/clock-synthetic.js';

const WARM_SEC = 60, EVERY_SEC = 30;
/** Lags further than this are not seen in frames, seconds. */
const REACH_SEC = 0.007;
const ZERO = { knotSec: [0], offsetSec: [0], uncertaintySec: [0] };
const TABLE: SyntheticTable = {
  seed: 2, durationSec: 4500, recorderOfTrack: [0, 0, 0, 0, 1, 1, 1, 1], clocks: [{ offsetSec: 1.5, driftPpm: 22, wanderPpm: 1.5, wanderSec: 7200 }], callsPerMin: 10, staySec: 60,
};

/** Errors of the clock and what it states, ms, each time before it is learned anew. @param quiet when nobody calls, seconds */
function follow(table: SyntheticTable, quiet: readonly [number, number] = [0, 0]): { tSec: number; errorMs: number; statedMs: number }[] {
  const { recorderOfTrack, durationSec } = table;
  const truth = (t: number): number => readTrueOffset(table.clocks[0], t);
  const knotSec = Array.from({ length: Math.ceil(durationSec / 20) + 1 }, (_, k) => k * 20);
  const exact: ClockModel = [ZERO, { knotSec, offsetSec: knotSec.map(truth), uncertaintySec: knotSec.map(() => 0.003) }];
  const { candidates } = makeCandidates({ ...table, alignedWith: exact });
  /** The same call heard with another clock. */
  const hear = (c: Candidate, clock: ClockModel): Candidate => {
    const shiftSec = readOffset(exact[1], c.onsetSec) - readOffset(clock[1], c.onsetSec);
    const lagSec = c.lagSec.map((lag, j) => lag + (recorderOfTrack[j] - recorderOfTrack[c.track]) * shiftSec);
    return { ...c, lagSec, agreementZ: c.agreementZ.map((z, j) => (Math.abs(lagSec[j]) > REACH_SEC ? Math.min(z, 5) : z)) };
  };
  const coarse: ClockModel = [ZERO, { knotSec: [0, WARM_SEC], offsetSec: [0, WARM_SEC].map((t) => truth(t) + 0.0005), uncertaintySec: [0.003, 0.003] }];
  const end = candidates.findIndex((c) => c.onsetSec >= WARM_SEC);
  const fitted = fitClocks({ candidates: candidates.slice(0, end).map((c) => hear(c, coarse)), recorderOfTrack, coarse, durationSec: WARM_SEC });
  const clock = [ZERO, joinClock(fitted[1], fitted[1], 0, WARM_SEC)];
  const telling = candidates.slice(0, end).map((c) => hear(c, clock));
  const priorGainDb = recorderOfTrack.map(() => 0);
  const learning = new Learning({ telling, priorGainDb, gains: fitGains(telling, priorGainDb), clock }, recorderOfTrack);
  const out: ReturnType<typeof follow> = [];
  for (let nowSec = WARM_SEC + EVERY_SEC; nowSec <= durationSec; nowSec += EVERY_SEC) {
    const batch = candidates.filter((c) => c.onsetSec >= nowSec - EVERY_SEC && c.onsetSec < nowSec && !(c.onsetSec >= quiet[0] && c.onsetSec < quiet[1]));
    const before = learning.clock[1];
    out.push({ tSec: nowSec, errorMs: 1e3 * (readOffset(before, nowSec) - truth(nowSec)), statedMs: 1e3 * readUncertainty(before, nowSec) });
    learning.add(batch.map((c) => hear(c, learning.clock)));
    learning.refresh(nowSec, nowSec - EVERY_SEC);
  }
  return out;
}

describe('a clock that is followed live', () => {
  it('stays where frames hear it, though calls are few and birds move', () => {
    // As measured 2.1 ms at worst, .4 ms rms: there are hardly any exchanges (seed 12: .5 and .08). Fitted to ten minutes alone, and believed up to 2 ms of
    // doubt, it was 19 ms off (9 ms).
    expect(Math.max(...follow(TABLE).map((s) => Math.abs(s.errorMs)))).toBeLessThan(4);
  }, 600_000);

  it('runs on through a silence at the rate of the minutes before, states its doubt, and is found again', () => {
    const steps = follow({ ...TABLE, seed: 5, callsPerMin: 10, staySec: 300, clocks: [{ offsetSec: 1.5, driftPpm: 22, wanderPpm: 1.5, wanderSec: 86400 }] }, [1200, 3600]);
    const at = (sec: number) => steps.find((s) => s.tSec >= sec)!;
    expect(Math.abs(at(1200).errorMs)).toBeLessThan(0.1);
    // As measured .26 ms; the rate of the last half minute alone led 1.4 ms astray. A sine of a day of 1.5 ppm turns the rate by .3 ppm in this time: .4 ms.
    expect(Math.abs(at(3600).errorMs)).toBeLessThan(0.7);
    expect(at(3600).statedMs).toBeGreaterThan(2);
    expect(at(3600).statedMs).toBeLessThan(3);
    expect(Math.abs(steps[steps.length - 1].errorMs)).toBeLessThan(0.1);
  }, 600_000);

  it('is said to be lost once in a long silence', () => {
    const clock = [ZERO, joinClock({ ...ZERO, uncertaintySec: [1e-4] }, { ...ZERO, uncertaintySec: [1e-4] }, 0, 60)];
    const learning = new Learning({ telling: [], priorGainDb: [0, 0], gains: fitGains([], [0, 0]), clock }, [0, 1]);
    const told = Array.from({ length: 300 }, (_, k) => 90 + 30 * k).filter((t) => learning.refresh(t, t - 30).length > 0);
    // 1 ppm takes 3900 s from 0.1 to 4 ms.
    expect(told).toEqual([3990]);
  });
});
