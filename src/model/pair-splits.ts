import type { Candidate } from '../evidence/candidate.js';
import { CONTACT_SEC } from '../evidence/contact.js';
import { log2 } from '../numeric/elementary.js';
import type { GainFit } from './fit-gains.js';

/**
 * Two birds side by side: their sounds differ by little in lag and lead, and delays of the receivers and gains are known to about as little. But
 * seen over minutes the sounds of both fall into two groups, and it is the group that tells: where a sound lies beside the best split of all that
 * the pair was heard to make. Features of a candidate against the track that hears it next to nearest; zeros where none is that near.
 */
export const PAIR_FEATURES = ['pairLagMs', 'pairLagGapMs', 'pairLagClearness', 'pairLeadDb', 'pairLeadGapDb', 'pairLeadClearness', 'pairCount'] as const;

const CLEAR_Z = 6;
const REACH_SEC = 150;
const MOST_SOUNDS = 80;
/** What is surely no call (wings, preening) would make groups of its own. */
const LEAST_LOG_ODDS = -1;
/** Below this scatter lags and leads are not measured. */
const LEAST_LAG_MS = 0.005;
const LEAST_LEAD_DB = 0.5;

/** A sound of one of two birds: lag at the second after the first, lead of the first over the second. */
interface PairSound {
  tSec: number;
  offsetSec: number;
  logOdds: number;
  lagMs: number;
  leadDb: number;
}

interface Split {
  /** Middle between the means of both groups, their distance, and that distance in scatters within groups. */
  middle: number;
  gap: number;
  clearness: number;
}

const NOTHING = PAIR_FEATURES.map(() => 0);

/** @param candidates sorted by onset @returns gives the row of PAIR_FEATURES of candidate n */
export function preparePairFeatures(candidates: readonly Candidate[], logOdds: ArrayLike<number>, gains: GainFit): (n: number) => number[] {
  const rivals = candidates.map((c) => findContact(c, gains.gainDb));
  const sounds = collectPairSounds(candidates, rivals, logOdds, gains.gainDb);
  const known = new Map<string, [Split, Split]>();
  return (n) => {
    const c = candidates[n], j = rivals[n];
    if (j < 0) return NOTHING;
    const key = pairKey(c.track, j);
    const list = sounds.get(key) ?? [];
    const { from, to } = findWindow(list, c.onsetSec);
    if (to - from < 2) return NOTHING;
    const window = `${key} ${from} ${to}`;
    let splits = known.get(window);
    if (!splits) {
      const near = list.slice(from, to);
      splits = [splitValues(near.map((s) => s.lagMs), LEAST_LAG_MS), splitValues(near.map((s) => s.leadDb), LEAST_LEAD_DB)];
      known.set(window, splits);
    }
    const [lag, lead] = splits;
    const mine = seeFromPair(c, j, gains.gainDb);
    const sign = c.track < j ? 1 : -1;
    return [sign * (mine.lagMs - lag.middle), lag.gap, lag.clearness, sign * (mine.leadDb - lead.middle), lead.gap, lead.clearness, log2(1 + to - from)];
  };
}

/** The track within reach of body contact that the candidate leads least; -1 where there is none. */
function findContact(c: Candidate, g: ArrayLike<number>): number {
  let best = -1; let least = Infinity;
  for (let j = 0; j < c.levelDb.length; j++) {
    if (j === c.track || c.agreementZ[j] < CLEAR_Z || c.lostShare[j] > 0.3 || Math.abs(c.lagSec[j]) > CONTACT_SEC) continue;
    const lead = g[j] - c.levelDb[j];
    if (lead < least) { least = lead; best = j; }
  }
  return best;
}

function seeFromPair(c: Candidate, j: number, g: ArrayLike<number>): { lagMs: number; leadDb: number } {
  const sign = c.track < j ? 1 : -1;
  return { lagMs: sign * c.lagSec[j] * 1e3, leadDb: sign * (c.levelDb[c.track] - g[c.track] - (c.levelDb[j] - g[j])) };
}

/** Per pair what may be calls of either, in time order; of several cuts of one sound the surest. */
function collectPairSounds(candidates: readonly Candidate[], rivals: readonly number[], logOdds: ArrayLike<number>, g: ArrayLike<number>): Map<string, PairSound[]> {
  const out = new Map<string, PairSound[]>();
  candidates.forEach((c, n) => {
    const j = rivals[n];
    if (j < 0 || c.shared || logOdds[n] < LEAST_LOG_ODDS) return;
    const key = pairKey(c.track, j);
    const list = out.get(key) ?? [];
    out.set(key, list);
    const sound = { tSec: c.onsetSec, offsetSec: c.offsetSec, logOdds: logOdds[n], ...seeFromPair(c, j, g) };
    const last = list[list.length - 1];
    if (!last || last.offsetSec <= c.onsetSec) list.push(sound);
    else if (sound.logOdds > last.logOdds) list[list.length - 1] = sound;
  });
  return out;
}

function pairKey(a: number, b: number): string {
  return a < b ? `${a} ${b}` : `${b} ${a}`;
}

function findWindow(list: readonly PairSound[], tSec: number): { from: number; to: number } {
  let at = 0;
  let end = list.length;
  while (at < end) {
    const mid = (at + end) >> 1;
    if (list[mid].tSec < tSec) at = mid + 1; else end = mid;
  }
  let from = at;
  let to = at;
  while (from > 0 && at - from < MOST_SOUNDS / 2 && tSec - list[from - 1].tSec < REACH_SEC) from--;
  while (to < list.length && to - at < MOST_SOUNDS / 2 && list[to].tSec - tSec < REACH_SEC) to++;
  return { from, to };
}

/** The split into two groups with the largest variance between them (Otsu 1979, IEEE Transactions on Systems, Man and Cybernetics 9(1)). */
export function splitValues(values: readonly number[], leastScatter: number): Split {
  const v = [...values].sort((a, b) => a - b);
  let total = 0; let square = 0;
  for (const x of v) { total += x; square += x * x; }
  let best = -1; let low = v[0]; let high = v[0]; let below = 0;
  for (let k = 1; k < v.length; k++) {
    below += v[k - 1];
    const a = below / k;
    const b = (total - below) / (v.length - k);
    const between = k * (v.length - k) * (b - a) * (b - a);
    if (between > best) { best = between; low = a; high = b; }
  }
  const whole = square - (total * total) / v.length;
  const within = Math.sqrt(Math.max(0, whole - Math.max(0, best) / v.length) / v.length);
  return { middle: (low + high) / 2, gap: high - low, clearness: (high - low) / Math.max(leastScatter, within) };
}
