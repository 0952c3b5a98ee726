/** Candidate tables of birds that sit, turn, move and call, with recorders whose clocks are known. No sound is made. */
import { NO_VOICE } from './make-candidate.js';
import type { Candidate } from '../../src/evidence/candidate.js';
import { createZeroClock, readOffset, type ClockModel } from '../../src/model/clock.js';

/** Small generator (mulberry32): uniform and normal numbers from a seed. */
export function makeRandom(seed: number): { uniform: () => number; gauss: () => number } {
  let a = seed >>> 0;
  const uniform = (): number => {
    a = (a + 0x6d2b79f5) >>> 0;
    let t = Math.imul(a ^ (a >>> 15), 1 | a);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
  return { uniform, gauss: () => Math.sqrt(-2 * Math.log(1 - uniform())) * Math.cos(2 * Math.PI * uniform()) };
}

export interface SyntheticClock {
  offsetSec: number;
  driftPpm: number;
  /** Temperature: one slow sine in the rate. */
  wanderPpm?: number;
  wanderSec?: number;
  jumps?: { tSec: number; stepSec: number }[];
}

export interface SyntheticTable {
  seed: number;
  durationSec: number;
  recorderOfTrack: number[];
  /** Clocks of the recorders after the first. */
  clocks: SyntheticClock[];
  callsPerMin: number;
  /** Mean time at one place, seconds. */
  staySec?: number;
  wrongShare?: number;
  noiseMs?: number;
  delaySec?: number[];
  /** Tracks whose birds never call. */
  mute?: number[];
  /** The clock that the candidates are aligned with; default: the truth with a constant error of 1.2 ms. */
  alignedWith?: ClockModel;
}

export function readTrueOffset(c: SyntheticClock, t: number): number {
  const omega = (2 * Math.PI) / (c.wanderSec ?? 3600);
  const jumps = (c.jumps ?? []).reduce((s, j) => (t >= j.tSec ? s + j.stepSec : s), 0);
  return c.offsetSec + 1e-6 * (c.driftPpm * t + ((c.wanderPpm ?? 0) * (1 - Math.cos(omega * t))) / omega) + jumps;
}

const SOUND_SPEED = 343.2;
const MOUTH_M = 0.03;
const ROOM_M = [2, 1.5, 1.2];

interface Pose { untilSec: number; microphone: number[]; mouth: number[] }

/** Draws the table; the candidates are in order of time. */
export function makeCandidates(table: SyntheticTable): { candidates: Candidate[]; alignedWith: ClockModel } {
  const { uniform, gauss } = makeRandom(table.seed);
  const tracks = table.recorderOfTrack.length;
  const offsetOf = (r: number, t: number): number => (r === 0 ? 0 : readTrueOffset(table.clocks[r - 1], t));
  const alignedWith = table.alignedWith ?? createZeroClock(table.clocks.length + 1).map((_, r) => {
    const knotSec = Array.from({ length: Math.ceil(table.durationSec / 100) + 1 }, (__, k) => k * 100);
    return { knotSec, offsetSec: knotSec.map((t) => offsetOf(r, t) + (r === 0 ? 0 : 0.0012)), uncertaintySec: knotSec.map(() => 0.003) };
  });
  const poses: Pose[] = Array.from({ length: tracks }, () => ({ untilSec: -1, microphone: [0, 0, 0], mouth: [0, 0, 0] }));
  const pose = (i: number, t: number): Pose => {
    const p = poses[i];
    if (t < p.untilSec) return p;
    const microphone = ROOM_M.map((m) => m * uniform());
    const direction = [gauss(), gauss(), gauss()];
    const length = Math.hypot(...direction);
    // Birds stay for a while, now shorter, now longer.
    return poses[i] = { untilSec: t - (table.staySec ?? 60) * Math.log(1 - uniform()), microphone, mouth: microphone.map((v, k) => v + (MOUTH_M * direction[k]) / length) };
  };
  const callers = table.recorderOfTrack.map((_, i) => i).filter((i) => !table.mute?.includes(i));
  const candidates: Candidate[] = [];
  for (let t = 0.5; t < table.durationSec; t -= (60 / table.callsPerMin) * Math.log(1 - uniform())) {
    const own = callers[Math.floor(uniform() * callers.length)];
    const caller = pose(own, t);
    const lagSec = new Float64Array(tracks);
    const agreementZ = new Float64Array(tracks);
    for (let j = 0; j < tracks; j++) {
      if (j === own) continue;
      const path = distance(caller.mouth, pose(j, t).microphone) - distance(caller.mouth, caller.microphone);
      const [a, b] = [table.recorderOfTrack[own], table.recorderOfTrack[j]];
      const clock = offsetOf(b, t) - offsetOf(a, t) - readOffset(alignedWith[b], t) + readOffset(alignedWith[a], t);
      const wrong = uniform() < (table.wrongShare ?? 0.2);
      lagSec[j] = wrong ? 0.014 * (uniform() - 0.5) : path / SOUND_SPEED + clock + (table.delaySec?.[j] ?? 0) - (table.delaySec?.[own] ?? 0) + 1e-3 * (table.noiseMs ?? 0.008) * gauss();
      agreementZ[j] = uniform() < 0.25 ? 3 : 6.5 + 15 * uniform();
      if (table.recorderOfTrack[own] === table.recorderOfTrack[j] && lagSec[j] < 0 && wrong) agreementZ[j] = 3;
    }
    candidates.push(fillCandidate(own, t, lagSec, agreementZ));
  }
  return { candidates, alignedWith };
}

function distance(a: readonly number[], b: readonly number[]): number {
  return Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
}

function fillCandidate(track: number, onsetSec: number, lagSec: Float64Array, agreementZ: Float64Array): Candidate {
  const zero = (): Float64Array => new Float64Array(lagSec.length);
  const rest: Omit<Candidate, 'track' | 'onsetSec' | 'lagSec' | 'agreementZ'> = {
    offsetSec: onsetSec + 0.1, peakDb: 30, overPedestal: 0, elements: 1, unevenness: 0, gapSec: 0, levelDb: zero(), floorDb: zero(), agreement: zero(), zeroLag: zero(), tiltDb: zero(), ownedShare: 0.95, leadDb: 12,
    lostShare: zero(), entropy: 0.6, crestDb: 12, peakHz: 3000, centroidHz: 3000, bandwidthHz: 1500, highRiseDb: 0, timeEntropy: 0.9, attackDb: 6, flatness: 0.2, steadiness: 0.6, ownedBins: 200, shared: 0, core: 0, twin: 0, bands: new Float64Array(16).fill(0.25), voice: NO_VOICE, harmonicity: 0.5,
    heldTones: 0.5, fadeDb: 0, startLikeness: 0.7, startDb: -1, beforeLikeness: 0.6, beforeDb: -20,
  };
  return { ...rest, track, onsetSec, lagSec, agreementZ };
}
