/** Receiver gains and clocks from the sure-looking sounds heard so far. */
import type { Candidate } from '../evidence/candidate.js';
import { isTelling } from '../evidence/telling.js';
import { readOffset, readUncertainty, type ClockModel, type RecorderClock } from '../model/clock.js';
import { fitClocks } from '../model/fit-clock.js';
import { fitGains, type GainFit } from '../model/fit-gains.js';

/** Sounds of the last so many seconds, and so many of them at most, are learned from. */
const REACH_SEC = 600;
const MOST_SOUNDS = 3000;
/** A clock fit that states more than this is not believed, seconds; beyond the newest sound it is continued for so long. */
const DOUBTFUL_SEC = 0.002;
const AHEAD_SEC = 3600;
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

  /** Learns from what was heard up to `nowSec`; what is read from now on is the result. */
  refresh(nowSec: number): void {
    const { state } = this;
    state.telling = state.telling.filter((c) => c.onsetSec >= nowSec - REACH_SEC).slice(-MOST_SOUNDS);
    state.gains = fitGains(state.telling, state.priorGainDb);
    if (state.clock.length > 1) state.clock = this.continueClock(nowSec);
  }

  save(): LearnedState { return this.state; }

  /** Fits the clocks anew on the window and joins the result to what was used up to now. */
  private continueClock(nowSec: number): ClockModel {
    const { clock, telling } = this.state;
    const fromSec = Math.max(0, nowSec - REACH_SEC);
    const coarse = clock.map((c) => shiftClock(c, -fromSec));
    const moved = telling.map((c) => ({ ...c, onsetSec: c.onsetSec - fromSec, offsetSec: c.offsetSec - fromSec }));
    const fitted = fitClocks({ candidates: moved, recorderOfTrack: this.recorderOfTrack, coarse, durationSec: nowSec - fromSec });
    return clock.map((old, r) => {
      const fresh = fitted[r];
      if (r === 0 || fresh === coarse[r] || !(readUncertainty(fresh, nowSec - fromSec) < DOUBTFUL_SEC)) return old;
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
  const ahead = [atSec, atSec + AHEAD_SEC];
  return {
    knotSec: [...times, ...ahead],
    offsetSec: [...times.map((t) => readOffset(old, t)), ...ahead.map((t) => readOffset(fresh, t))],
    uncertaintySec: [...times.map((t) => readUncertainty(old, t)), ...ahead.map((t) => readUncertainty(fresh, t))],
  };
}
