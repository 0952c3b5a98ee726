import type { PlaneSpace } from '../kernels/plane-space.js';
import { CLEAR_OF_NOISE } from './crosstalk-levels.js';
import type { CrosstalkLevels } from './crosstalk-levels.js';
import type { Piece, SeparationCall } from './plan-pieces.js';
import type { Section, SectionSpan } from './section.js';
import type { SeparationSettings } from './settings.js';

/** A sound that is no call and that a track may hold for itself: of its wearer's body, or of another track through its radio. */
export interface TrackSound {
  track: number;
  /** Track whose voice broke through, where that is what it is. */
  source?: number;
  onsetSec: number;
  offsetSec: number;
}

// All chosen by trial on simulated scenes (bench/separate, seeds 9101-9106): what keeps nearly all calls that attribution gave to a neighbour.
/** Power ratio by which a track may exceed the crosstalk that is usual between two birds. */
const MOST_EXCESS = 3;
/** Distance of two birds, as the mean loss of crosstalk both ways, below which level does not tell who called; power ratio. */
const LEAST_LOSS = 10;
/** Usual crosstalk must be below this where nothing is known of the way back. */
const MOST_ONE_WAY = 0.063;
/** Usual means in at least this many solo calls. */
const LEAST_CALLS = 2;
/** Probability of another caller from which on a row counts as doubtful. */
const MOST_RIVAL = 0.02;
/** Two rows whose ends both agree as well as this are one sound on two tracks, seconds. */
const SAME_SEC = 0.012;

/** Whether a track's level tells its own bird's voice from another bird's crosstalk. */
export function canTellApart(levels: CrosstalkLevels, track: number, caller: number): boolean {
  const n = levels.trackCount, there = track * n + caller, back = caller * n + track;
  if (levels.callCount[there] < LEAST_CALLS) return false;
  if (levels.callCount[back] < LEAST_CALLS) return levels.usual[there] < MOST_ONE_WAY;
  return levels.usual[there] * levels.usual[back] < 1 / LEAST_LOSS ** 2;
}

/** What a guard goes by. Calls are all in and around the section that count, of other birds, in order of onset. */
export interface GuardRules { levels: CrosstalkLevels; settings: SeparationSettings; sounds: readonly TrackSound[] }

/**
 * Windows of a piece that stay as they are whatever is heard, because the tables leave room for the silent wearer being the one that calls: 1 in those.
 */
export function guardByTables(span: SectionSpan, piece: Piece, calls: readonly SeparationCall[], { levels, settings, sounds }: GuardRules): Uint8Array {
  const kept = new Uint8Array(span.spectrumCount);
  for (const call of calls) {
    if (meetsPiece(piece, call, settings) && isDoubtful(piece, call, levels)) keepWindows(span, kept, call.onsetSec - settings.guardLeadSec, call.offsetSec + settings.roomTailSec, settings);
  }
  for (const sound of sounds) if (sound.track === piece.track) keepWindows(span, kept, sound.onsetSec, sound.offsetSec, settings);
  return kept;
}

function meetsPiece(piece: Piece, call: SeparationCall, settings: SeparationSettings): boolean {
  return call.onsetSec <= piece.endSec && call.offsetSec + settings.roomTailSec >= piece.startSec;
}

function isDoubtful(piece: Piece, call: SeparationCall, levels: CrosstalkLevels): boolean {
  return (call.rivalTrack === piece.track && (call.rivalProbability ?? 0) > MOST_RIVAL) || !canTellApart(levels, piece.track, call.track);
}

function keepWindows({ centreSec }: SectionSpan, kept: Uint8Array, fromSec: number, toSec: number, settings: SeparationSettings): void {
  const reachSec = settings.fftSize / 2 / settings.sampleRateHz;
  for (let k = 0; k < kept.length; k++) if (centreSec[k] > fromSec - reachSec && centreSec[k] < toSec + reachSec) kept[k] = 1;
}

/** Sums over a section that guards of its tracks ask for, each worked out once. */
export class SectionSums {
  private readonly rows = new Map<string, Float32Array>();
  private readonly frames = new Map<number, Float32Array>();

  constructor(private readonly space: PlaneSpace, readonly section: Section) {}

  /** Power of a track per bin, summed over windows [first, end). */
  sumWindows(track: number, first: number, end: number): Float32Array {
    const key = `${track} ${first} ${end}`, sums = this.rows.get(key) ?? this.space.sumRows(this.section.tracks.get(track)!.power, first, end);
    this.rows.set(key, sums);
    return sums;
  }

  /** Power of a track in every window. */
  sumBins(track: number): Float32Array {
    const sums = this.frames.get(track) ?? this.space.sumFrames(this.section.tracks.get(track)!.power, this.section.spectrumCount);
    this.frames.set(track, sums);
    return sums;
  }
}

/**
 * Windows of a piece that stay as they are because the silent wearer may be the one that calls: 1 in those. A row of the table is taken at its
 * word only where it leaves no room for the wearer, the two birds are far enough apart for levels to tell, and the track is no louder than crosstalk
 * from all that call at the time.
 * @param calls all calls in and around the section that count, of other birds, in order of onset
 */
export function guardWearer(sums: SectionSums, piece: Piece, calls: readonly SeparationCall[], rules: GuardRules, floors: readonly Float32Array[]): Uint8Array {
  const { levels, settings } = rules, { section } = sums, kept = guardByTables(section, piece, calls, rules);
  for (const call of calls) {
    if (!meetsPiece(piece, call, settings) || isDoubtful(piece, call, levels)) continue;
    if (measureExcess(sums, piece, call, calls, levels, floors) > MOST_EXCESS) keepWindows(section, kept, call.onsetSec - settings.guardLeadSec, call.offsetSec + settings.roomTailSec, settings);
    else if (risesAfter(sums, piece.track, call, calls, settings)) keepWindows(section, kept, call.offsetSec, call.offsetSec + settings.roomTailSec, settings);
  }
  return kept;
}

/**
 * Power on the piece's track over what is usual as crosstalk while a call lasts, from all that call at the time: mean over bins, so that soft bins count
 * as much as loud ones. 0 where no window lies in both call and piece.
 */
function measureExcess(sums: SectionSums, piece: Piece, call: SeparationCall, calls: readonly SeparationCall[], levels: CrosstalkLevels, floors: readonly Float32Array[]): number {
  const { centreSec } = sums.section, { track } = piece, fromSec = Math.max(call.onsetSec, piece.startSec), toSec = Math.min(call.offsetSec, piece.endSec);
  const callers = [...new Set(calls.filter((c) => c.onsetSec < toSec && c.offsetSec > fromSec && levels.callCount[track * levels.trackCount + c.track] > 0).map((c) => c.track))];
  let first = 0, end = centreSec.length;
  while (first < end && centreSec[first] < fromSec) first++;
  while (end > first && centreSec[end - 1] > toSec) end--;
  const windows = end - first, heard = sums.sumWindows(track, first, end), floor = floors[track];
  const sources = callers.map((c) => ({ power: sums.sumWindows(c, first, end), own: floors[c], level: levels.usual[track * levels.trackCount + c] }));
  let over = 0, bins = 0;
  for (let b = 0; b < heard.length; b++) {
    let usual = 0, noise = 0;
    for (const { power, own, level } of sources) { usual += level * (power[b] - windows * own[b]); noise += level * windows * own[b]; }
    // Bins in which callers stand out of their noise, each weighted by the inverse of what is expected.
    if (usual <= CLEAR_OF_NOISE * noise) continue;
    over += Math.max(0, heard[b] - windows * floor[b]) / usual;
    bins++;
  }
  return bins > 0 ? over / bins : 0;
}

/** Whether a track gets louder after a call than it was while it lasted, with no other call that could be the reason: an echo only falls. */
function risesAfter(sums: SectionSums, track: number, call: SeparationCall, calls: readonly SeparationCall[], settings: SeparationSettings): boolean {
  const { centreSec } = sums.section, reachSec = settings.fftSize / 2 / settings.sampleRateHz, endSec = call.offsetSec + settings.roomTailSec;
  if (calls.some((c) => c !== call && c.offsetSec > call.offsetSec && c.onsetSec < endSec)) return false;
  let during = 0, after = 0;
  sums.sumBins(track).forEach((power, k) => {
    if (centreSec[k] > call.onsetSec && centreSec[k] < call.offsetSec) during = Math.max(during, power);
    else if (centreSec[k] >= call.offsetSec + reachSec && centreSec[k] <= endSec) after = Math.max(after, power);
  });
  return during > 0 && after > during;
}

/**
 * Whether a row may be removed from an own call that it overlaps: not where it is the same sound found on a second track, be it through the radio or
 * as crosstalk of the own call.
 */
export function isOtherVoice(own: SeparationCall, other: SeparationCall, sounds: readonly TrackSound[], voiceProbability: number): boolean {
  if (Math.abs(own.onsetSec - other.onsetSec) < SAME_SEC && Math.abs(own.offsetSec - other.offsetSec) < SAME_SEC) return false;
  // An unsure own row that begins or ends with another one may be a part of the same sound.
  if (own.probability < voiceProbability && (Math.abs(own.onsetSec - other.onsetSec) < SAME_SEC || Math.abs(own.offsetSec - other.offsetSec) < SAME_SEC)) return false;
  // A row that only may be the wearer's is removed all the same: what it costs where it is, is less than what others gain.
  return !sounds.some((s) => s.source !== undefined && ((s.track === own.track && s.source === other.track) || (s.track === other.track && s.source === own.track))
    && s.onsetSec < other.offsetSec && s.offsetSec > other.onsetSec);
}

