import type { CallRow, TrackHourRow } from '../../../src/schema/rows.js';

/** A small generator of calls whose network is known. Its random numbers (Park and Miller 1988, minimal standard) are not those of the program. */
export class Dice {
  private state: number;
  constructor(seed: number) { this.state = (seed % 2147483646) + 1; for (let i = 0; i < 10; i++) this.unit(); }
  unit(): number { this.state = (this.state * 16807) % 2147483647; return this.state / 2147483647; }
  normal(): number { return Math.sqrt(-2 * Math.log(this.unit())) * Math.cos(2 * Math.PI * this.unit()); }
  wait(rate: number): number { return -Math.log(this.unit()) / rate; }
}

export interface ReplyRule { caller: string; replier: string; probability: number; medianSec: number; spreadSec: number }

export interface CallWorld {
  birds: string[];
  durationSec: number;
  /** Spontaneous calls per second at time t of a bird, and the most there can be. */
  rate: (bird: string, sec: number) => number;
  mostRate: number;
  rules?: ReplyRule[];
  /** Chance that a call is followed by another of the same bird, 0.15 to 0.35 s later. */
  bout?: number;
  seed: number;
}

export interface TrueCall { bird: string; onsetSec: number }

/** Spontaneous calls by thinning, then generation after generation of replies and own bouts. */
export function simulateCalls(world: CallWorld): TrueCall[] {
  const dice = new Dice(world.seed);
  let wave: TrueCall[] = [];
  for (const bird of world.birds) {
    for (let t = dice.wait(world.mostRate); t < world.durationSec; t += dice.wait(world.mostRate)) {
      if (dice.unit() * world.mostRate < world.rate(bird, t)) wave.push({ bird, onsetSec: t });
    }
  }
  let all = wave;
  while (wave.length > 0) {
    const next: TrueCall[] = [];
    for (const call of wave) {
      for (const rule of world.rules ?? []) {
        if (rule.caller !== call.bird || dice.unit() >= rule.probability) continue;
        next.push({ bird: rule.replier, onsetSec: call.onsetSec + Math.max(0.06, rule.medianSec + rule.spreadSec * dice.normal()) });
      }
      if (dice.unit() < (world.bout ?? 0)) next.push({ bird: call.bird, onsetSec: call.onsetSec + 0.15 + 0.2 * dice.unit() });
    }
    wave = next.filter((c) => c.onsetSec < world.durationSec);
    all = all.concat(wave);
  }
  return all.sort((a, b) => a.onsetSec - b.onsetSec);
}

/** Rows as attribution would write them: to the microsecond, 60 ms long, sure of themselves. */
export function toCallRows(calls: readonly TrueCall[], change: (call: TrueCall, row: CallRow) => void = () => {}): CallRow[] {
  return calls.map((call, k) => {
    const onsetSec = Math.round(call.onsetSec * 1e6) / 1e6;
    const row: CallRow = {
      callId: k + 1, bird: call.bird, onsetSec, offsetSec: onsetSec + 0.06, onsetUtc: '', probability: 0.97, track: call.bird, levelDb: -30, snrDb: 30,
      peakHz: 3000, overlaps: 0, runnerUp: '', runnerUpProbability: NaN,
    };
    change(call, row);
    return row;
  });
}

export function fullTracks(birds: readonly string[], durationSec: number): TrackHourRow[] {
  return birds.flatMap((track) => Array.from({ length: Math.ceil(durationSec / 3600) }, (_, h) => ({
    track, recorder: 'one', startSec: h * 3600, usableSec: Math.min(3600, durationSec - h * 3600), noiseFloorDb: -60, gainDb: 0, lostShare: 0,
  })));
}
