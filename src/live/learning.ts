/** Receiver gains and clocks from the sure-looking sounds heard so far. */
import type { Candidate } from '../evidence/candidate.js';
import { isTelling } from '../evidence/telling.js';
import { readOffset, readUncertainty, type ClockModel, type RecorderClock } from '../model/clock.js';
import { fitClocks } from '../model/fit-clock.js';
import { fitGains, type GainFit } from '../model/fit-gains.js';

/** Gains are learned from the sounds of the last so many seconds, and so many of them at most. */
const REACH_SEC = 600;
const MOST_SOUNDS = 3000;
/** Clocks need some hundred calls, however long ago: of a quiet aviary these are the last hours. */
const CLOCK_SOUNDS = 400;
const CLOCK_REACH_SEC = 7200;
/** The rate with which a clock goes on is that of the last so many seconds: over a piece between two knots it is uncertain by parts per million. */
const RATE_SEC = 300;
/** What straight on adds to the uncertainty of a clock: a crystal that gets warmer or cooler by some degrees. Common practice, no source. */
const DOUBT_PPM = 1;
/** A clock that is less certain than this may be off by more than frames hear, seconds: half of the 7 ms that they hear, less what distances take of it. */
const LOST_SEC = 0.004;
/** Sounds are taken at latest so long after their end, seconds. */
const LATE_SEC = 1;
/** A clock has a knot so long after what was heard, seconds: days, so that its doubt goes on growing. */
const AHEAD_SEC = 1e6;
/** Width of the step between the clock used before and the one used from now on, seconds. */
const JOIN_SEC = 1e-3;

export interface LearnedState {
  telling: Candidate[];
  priorGainDb: number[];
  gains: GainFit;
  clock: ClockModel;
}

export class Learning {
  constructor(private readonly state: LearnedState, private readonly recorderOfTrack: readonly number[]) {}

  get gains(): GainFit { return this.state.gains; }
  /** The clock that was used, and is used from now on. */
  get clock(): ClockModel { return this.state.clock; }

  /** Takes candidates in, extracted with the present clock. */
  add(candidates: readonly Candidate[]): void {
    for (const c of candidates) if (isTelling(c)) this.state.telling.push(c);
  }

  /**
   * Learns from what was heard up to `nowSec`; what is read from now on is the result.
   * @returns the recorders whose clocks have become too uncertain since `beforeSec` to be found again by frames
   */
  refresh(nowSec: number, beforeSec: number): number[] {
    const { state } = this;
    const isOld = (c: Candidate): boolean => c.onsetSec < nowSec - REACH_SEC;
    const newCount = state.telling.reduce((n, c) => n + (isOld(c) ? 0 : 1), 0);
    const reachSec = state.clock.length > 1 ? CLOCK_REACH_SEC : REACH_SEC;
    state.telling = state.telling.filter((c) => c.onsetSec >= nowSec - reachSec).slice(-Math.min(MOST_SOUNDS, Math.max(CLOCK_SOUNDS, newCount)));
    state.gains = fitGains(state.telling.filter((c) => !isOld(c)), state.priorGainDb);
    // In a silence there is nothing to learn.
    if (state.clock.length > 1 && state.telling.some((c) => c.offsetSec >= beforeSec - LATE_SEC)) state.clock = this.continueClock(nowSec);
    return state.clock.map((_, r) => r).filter((r) => readUncertainty(state.clock[r], nowSec) > LOST_SEC && readUncertainty(state.clock[r], beforeSec) <= LOST_SEC);
  }

  save(): LearnedState { return this.state; }

  /** Fits the clocks anew on the window and joins the result to what was used up to now. */
  private continueClock(nowSec: number): ClockModel {
    const { clock, telling } = this.state;
    const fromSec = Math.max(0, Math.min(nowSec - REACH_SEC, telling.length > 0 ? telling[0].onsetSec : Infinity));
    const coarse = clock.map((c) => shiftClock(c, -fromSec));
    const moved = telling.map((c) => ({ ...c, onsetSec: c.onsetSec - fromSec, offsetSec: c.offsetSec - fromSec }));
    const fitted = fitClocks({ candidates: moved, recorderOfTrack: this.recorderOfTrack, coarse, durationSec: nowSec - fromSec });
    return clock.map((old, r) => {
      const fresh = fitted[r];
      // A few calls after a silence tell less than the clock that ran straight on.
      if (r === 0 || fresh === coarse[r] || !(readUncertainty(fresh, nowSec - fromSec) < readUncertainty(old, nowSec))) return old;
      return joinClock(old, shiftClock(fresh, fromSec), fromSec, nowSec);
    });
  }
}

/** The same clock where the study's time begins `bySec` earlier. */
export function shiftClock(c: RecorderClock, bySec: number): RecorderClock {
  return {
    knotSec: c.knotSec.map((t) => t + bySec), offsetSec: [...c.offsetSec], uncertaintySec: [...c.uncertaintySec],
    ...(c.jumps ? { jumps: c.jumps.map((j) => ({ ...j, tSec: j.tSec + bySec })) } : {}),
  };
}

/** `old` up to `atSec`, `fresh` from there on, straight on from its last knots; knots before `fromSec` are dropped. */
export function joinClock(old: RecorderClock, fresh: RecorderClock, fromSec: number, atSec: number): RecorderClock {
  const kept = old.knotSec.map((_, k) => k).filter((k) => old.knotSec[k] > fromSec && old.knotSec[k] < atSec - JOIN_SEC);
  const times = [fromSec, ...kept.map((k) => old.knotSec[k]), atSec - JOIN_SEC];
  return carryOn({ knotSec: times, offsetSec: times.map((t) => readOffset(old, t)), uncertaintySec: times.map((t) => readUncertainty(old, t)) }, fresh, atSec);
}

/** `before`, and from `atSec` on `clock`, straight on at its rate of the last minutes, ever less certain. */
export function carryOn(before: RecorderClock, clock: RecorderClock, atSec: number): RecorderClock {
  const at = readOffset(clock, atSec), doubtSec = readUncertainty(clock, atSec), backSec = Math.min(RATE_SEC, atSec - clock.knotSec[0]);
  const rate = backSec > 0 ? (at - readOffset(clock, atSec - backSec)) / backSec : 0;
  return {
    ...before, knotSec: [...before.knotSec, atSec, atSec + AHEAD_SEC], offsetSec: [...before.offsetSec, at, at + rate * AHEAD_SEC],
    uncertaintySec: [...before.uncertaintySec, doubtSec, doubtSec + 1e-6 * DOUBT_PPM * AHEAD_SEC],
  };
}
