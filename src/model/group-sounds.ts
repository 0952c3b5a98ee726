import type { Candidate } from '../evidence/candidate.js';
import { CONTACT_SEC } from '../evidence/contact.js';
import { intersectionOverUnion } from '../numeric/intervals.js';
import { compareLags } from './same-sound.js';
import { CLEAR_Z } from './templates.js';

/** A sound that birds side by side heard, whichever of their tracks it was cut on. */
export interface GroupSound {
  tSec: number;
  /** The candidate with the most bins: its lags are the surest. */
  best: number;
  /** All candidates of this sound, of any track. */
  members: number[];
  /** Largest log-odds among them. */
  logOdds: number;
}

export interface GroupSounds {
  /** In order of time. */
  sounds: GroupSound[];
  /** Sound of every candidate; -1 where no other track is near. */
  soundOf: Int32Array;
}

const LEAST_IOU = 0.5;
const MOST_LAGS_MS = 0.06;
/** No sound that reaches on is looked for further back than so many sounds. */
const MOST_BACK = 12;

/** Far microphones hear echoes as loud as the sound itself, and the correlation of a tone has side peaks: its height there is less. */
const LEAST_AGREEMENT = 0.5;

/** Whether track j surely heard the candidate within reach of body contact, and by the straight path. */
export function isInContact(c: Candidate, j: number): boolean {
  return j !== c.track && c.agreementZ[j] >= CLEAR_Z && c.agreement[j] >= LEAST_AGREEMENT && c.lostShare[j] <= 0.3 && Math.abs(c.lagSec[j]) <= CONTACT_SEC;
}

/** Joins candidates (sorted by onset) that are one sound heard by birds side by side: same time, and all lags agree. */
export function gatherSounds(candidates: readonly Candidate[], logOdds: ArrayLike<number>): GroupSounds {
  const sounds: GroupSound[] = [];
  const soundOf = new Int32Array(candidates.length).fill(-1);
  candidates.forEach((c, n) => {
    if (c.shared || !c.lagSec.some((_, j) => isInContact(c, j))) return;
    let at = -1;
    for (let k = sounds.length - 1; k >= Math.max(0, sounds.length - MOST_BACK) && at < 0; k--) if (isSame(candidates[sounds[k].best], c)) at = k;
    if (at < 0) {
      soundOf[n] = sounds.push({ tSec: c.onsetSec, best: n, members: [n], logOdds: logOdds[n] }) - 1;
      return;
    }
    const s = sounds[at];
    soundOf[n] = at;
    s.members.push(n);
    s.logOdds = Math.max(s.logOdds, logOdds[n]);
    if (c.ownedBins > candidates[s.best].ownedBins) s.best = n;
  });
  return { sounds, soundOf };
}

function isSame(a: Candidate, b: Candidate): boolean {
  if (intersectionOverUnion(a, b) < LEAST_IOU) return false;
  if (a.track === b.track) return true;
  return compareLags(a, b) < MOST_LAGS_MS;
}
