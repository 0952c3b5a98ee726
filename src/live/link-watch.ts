import { formatSpan, type WarningRow } from './warnings.js';

/** silent: far below the track's own noise (constant, muted, digital zeros). noise: what a receiver gives without a carrier. */
export type LinkVerdict = 'ok' | 'silent' | 'noise';

export interface LinkState {
  /** Since when the link has not been well, -1 = it is. */
  badFromSec: number;
  badAs: LinkVerdict;
  /** Since when it has been well again, -1 = it has not. */
  goodFromSec: number;
  isTold: boolean;
}

/** A link is dead after so long, and back after so long. Common practice, no source. */
export const DEAD_SEC = 5;
const BACK_SEC = 2;

/** Tells when the link of a track is dead, and when it is back. */
export class LinkWatch {
  constructor(private readonly tracks: readonly string[], private state: LinkState[] = tracks.map(() => ({ badFromSec: -1, badAs: 'ok', goodFromSec: -1, isTold: false }))) {}

  /** Takes what a track was from `fromSec` to `toSec`; stretches come in order of time. */
  add(track: number, fromSec: number, toSec: number, verdict: LinkVerdict): WarningRow[] {
    const s = this.state[track];
    if (verdict !== 'ok') {
      if (s.badFromSec < 0) { s.badFromSec = fromSec; s.badAs = verdict; }
      s.goodFromSec = -1;
      const downSec = toSec - s.badFromSec;
      if (s.isTold || downSec < DEAD_SEC) return [];
      s.isTold = true;
      const what = s.badAs === 'silent' ? 'silence: nothing, not even the noise of a receiver' : 'the noise of a receiver without a carrier';
      return [{ timeSec: toSec, track: this.tracks[track], kind: 'dead-link', text: `dead link: for ${formatSpan(downSec)} only ${what}` }];
    }
    if (s.badFromSec < 0) return [];
    if (s.goodFromSec < 0) s.goodFromSec = fromSec;
    if (s.isTold && toSec - s.goodFromSec < BACK_SEC) return [];
    const row: WarningRow = { timeSec: toSec, track: this.tracks[track], kind: 'link-back', text: `the link is back after ${formatSpan(s.goodFromSec - s.badFromSec)}` };
    const told = s.isTold;
    this.state[track] = { badFromSec: -1, badAs: 'ok', goodFromSec: -1, isTold: false };
    return told ? [row] : [];
  }

  save(): LinkState[] { return this.state; }
}
