import { exp, ln } from '../numeric/elementary.js';
import { formatSpan, type WarningRow } from './warnings.js';

interface Bucket { minute: number; usableSec: number; count: number; longestSec: number }

export interface BirdState {
  buckets: Bucket[];
  /** Usable seconds since the last call. */
  quietSec: number;
  isTold: boolean;
}

/** The rate is that of the last two usable hours. */
const REACH_MINUTES = 120;
const LEAST_CALLS = 10;
const LEAST_QUIET_SEC = 60;
/** At a call every second a bird has some 10^5 chances a day to be silent by chance. */
const MOST_CHANCE = 1e-6;

/**
 * Chance that a bird which gave `count` calls in `usableSec` gives none in `quietSec` more at the same rate: given count + 0 calls in all, each
 * falls into the first stretch with its share of the time (two Poisson counts compared exactly: Przyborowski & Wilenski 1940, Biometrika 31, 313-323).
 */
export function chanceOfSilence(count: number, usableSec: number, quietSec: number): number {
  if (!(usableSec > 0)) return 1;
  return exp(count * ln(usableSec / (usableSec + quietSec)));
}

/** Tells when a bird has been silent for longer than it usually is. Only time in which its link was up counts. */
export class SilenceWatch {
  constructor(private readonly birds: readonly string[], private readonly state: BirdState[] = birds.map(() => ({ buckets: [], quietSec: 0, isTold: false }))) {}

  /** Takes `usableSec` of a bird's time that ends at `nowSec`. */
  addTime(bird: number, usableSec: number, nowSec: number): WarningRow[] {
    const s = this.state[bird];
    s.quietSec += usableSec;
    if (s.isTold || s.quietSec < LEAST_QUIET_SEC) return [];
    const { count, sec, longestSec } = sum(s.buckets);
    if (count < LEAST_CALLS || s.quietSec <= longestSec || chanceOfSilence(count, sec, s.quietSec) > MOST_CHANCE) return [];
    s.isTold = true;
    const text = `silent bird: no call for ${formatSpan(s.quietSec)}, after ${count} in ${formatSpan(sec)} with ${formatSpan(longestSec)} between two at most`;
    return [{ timeSec: nowSec, track: this.birds[bird], kind: 'silent-bird', text }];
  }

  /** Takes a call of a bird. */
  addCall(bird: number, timeSec: number): WarningRow[] {
    const s = this.state[bird];
    const minute = Math.floor(timeSec / 60);
    let bucket = s.buckets.find((b) => b.minute === minute);
    if (!bucket) s.buckets.push((bucket = { minute, usableSec: 0, count: 0, longestSec: 0 }));
    // Silence before the first call is no gap between calls, but time it is.
    if (s.buckets.some((b) => b.count > 0)) bucket.longestSec = Math.max(bucket.longestSec, s.quietSec);
    bucket.usableSec += s.quietSec;
    bucket.count++;
    s.buckets = s.buckets.filter((b) => b.minute > minute - REACH_MINUTES);
    const rows: WarningRow[] = s.isTold ? [{ timeSec, track: this.birds[bird], kind: 'bird-back', text: `calls again after ${formatSpan(s.quietSec)}` }] : [];
    s.quietSec = 0;
    s.isTold = false;
    return rows;
  }

  save(): BirdState[] { return this.state; }
}

function sum(buckets: readonly Bucket[]): { count: number; sec: number; longestSec: number } {
  return buckets.reduce((a, b) => ({ count: a.count + b.count, sec: a.sec + b.usableSec, longestSec: Math.max(a.longestSec, b.longestSec) }), { count: 0, sec: 0, longestSec: 0 });
}
