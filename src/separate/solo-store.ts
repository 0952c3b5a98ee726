import type { Ptr } from '../kernels/kernel-exports.js';
import { countSystemValues } from '../kernels/paths.js';
import { padBins } from '../kernels/plane-space.js';
import type { SeparationCall } from './plan-pieces.js';
import type { PathEngine } from './path-system.js';
import type { Section, SectionAnalyser } from './section.js';
import type { SeparationSettings } from './settings.js';

/** Systems of solo calls that are kept, by their bytes. */
const SYSTEM_BYTES = 96 * 2 ** 20;
/** Least and most of them: what one choice of a path looks at must stay. */
const LEAST_SYSTEMS = 64, MOST_SYSTEMS = 512;
/** Calls whose mean powers are kept: all within reach of a block, by far. */
const MOST_POWERS = 2000;

function countSystems(systemValues: number): number {
  return Math.min(MOST_SYSTEMS, Math.max(LEAST_SYSTEMS, Math.floor(SYSTEM_BYTES / (4 * systemValues))));
}

/** Bytes of kernel memory that a store keeps. */
export function countStoreBytes({ tapCount, binCount }: SeparationSettings): number {
  const values = countSystemValues(tapCount, padBins(binCount));
  return countSystems(values) * (4 * values + 16);
}

/** Calls that one bird makes while no other is heard: what paths and levels are learned from. Keeps a bounded share of them in memory. */
export class SoloStore {
  private readonly byTrack: SeparationCall[][];
  private readonly systems: KeptPlaces;
  private readonly powers = new Map<SeparationCall, Float32Array[]>();

  /** @param calls all calls in order of onset, those of birds without a tag included */
  constructor(private readonly analyser: SectionAnalyser, readonly engine: PathEngine, calls: readonly SeparationCall[], trackCount: number) {
    this.byTrack = Array.from({ length: trackCount }, () => []);
    for (const call of findSolos(calls, analyser.settings.soloGapSec)) this.byTrack[call.track].push(call);
    this.systems = new KeptPlaces(Array.from({ length: countSystems(engine.systemValues) }, () => engine.createSystem()));
  }

  /** Forgets what depends on the noise floors of a block. */
  beginBlock(): void {
    this.systems.clear();
  }

  /** Solo calls of a track's bird near a moment, nearest first, before (-1) or from then on (1). */
  findNear(track: number, tSec: number, side: -1 | 1, count: number): SeparationCall[] {
    const { soloReachSec } = this.analyser.settings;
    const list = this.byTrack[track].filter((c) => (side < 0 ? c.onsetSec < tSec : c.onsetSec >= tSec) && Math.abs(c.onsetSec - tSec) < soloReachSec);
    return (side < 0 ? list.reverse() : list).slice(0, count);
  }

  /** From the window whose middle is at the onset on: what comes before holds noise, and paths learned from it remove less. */
  private findSpan(call: SeparationCall): [fromSec: number, toSec: number, leadFrames: number] {
    return [call.onsetSec - 0.005, Math.min(call.offsetSec, call.onsetSec + 2) + 0.1, this.analyser.settings.fftSize / 2];
  }

  /** Mean power of a solo call on every track, per bin. */
  async loadPowers(call: SeparationCall): Promise<Float32Array[]> {
    const known = this.powers.get(call);
    if (known) return known;
    const powers = await this.analyser.measureMeans(...this.findSpan(call));
    this.powers.set(call, powers);
    for (const oldest of this.powers.keys()) { if (this.powers.size <= MOST_POWERS) break; this.powers.delete(oldest); }
    return powers;
  }

  /**
   * Normal equations of the path from the caller's track to `receiver`, from one solo call; none where the receiver is silent. They stay in the kernels'
   * memory at least for LEAST_SYSTEMS loads.
   * @param members tracks that are likely to be asked for next, the two included
   */
  async loadSystem(call: SeparationCall, receiver: number, members: readonly number[], floorRows: readonly Ptr[]): Promise<Ptr | undefined> {
    const known = this.systems.get(keyOf(call, receiver));
    if (known) return known.ptr;
    const missing = members.filter((j) => j !== call.track && !this.systems.get(keyOf(call, j))), { k } = this.engine.space, mark = k.mark();
    const section = await this.analyser.cut(this.analyser.planSpan(...this.findSpan(call)), new Set([call.track, ...missing]));
    for (const j of missing) this.observe(section, call, j, floorRows[j]);
    k.release(mark);
    return this.systems.get(keyOf(call, receiver))!.ptr;
  }

  private observe({ tracks, spectrumCount }: Section, call: SeparationCall, receiver: number, floorRow: Ptr): void {
    const { space, space: { k, width } } = this.engine, { independence, modelError } = this.analyser.settings, heard = tracks.get(receiver)!, key = keyOf(call, receiver);
    if (space.viewRows(heard.power, spectrumCount).every((v) => v === 0)) return this.systems.markEmpty(key);
    const mark = k.mark(), weight = space.createRows(spectrumCount);
    k.fn.weighBins(heard.smooth, 0, spectrumCount, width, floorRow, modelError, independence, weight);
    this.engine.observe(tracks.get(call.track)!.planes, heard.planes, weight, this.systems.take(key));
    k.release(mark);
  }
}

function keyOf(call: SeparationCall, receiver: number): string {
  return `${call.id} ${receiver}`;
}

/** Calls of tagged birds that no other bird's call comes near to. */
export function findSolos(calls: readonly SeparationCall[], gapSec: number): SeparationCall[] {
  const solos: SeparationCall[] = [];
  let latest = { endSec: -Infinity, track: -2 }, second = -Infinity;
  calls.forEach((call, i) => {
    // End of the latest call so far by anybody else.
    const before = latest.track === call.track && call.track >= 0 ? second : latest.endSec;
    let isFree = before <= call.onsetSec - gapSec;
    for (let n = i + 1; isFree && n < calls.length && calls[n].onsetSec < call.offsetSec + gapSec; n++) isFree = calls[n].track === call.track;
    if (isFree && call.track >= 0) solos.push(call);
    if (call.offsetSec > latest.endSec) {
      if (call.track !== latest.track || call.track < 0) second = latest.endSec;
      latest = { endSec: call.offsetSec, track: call.track };
    } else if (call.track !== latest.track || call.track < 0) second = Math.max(second, call.offsetSec);
  });
  return solos;
}

/** Places in the kernels' memory that are given to keys; what was used longest ago makes room. */
class KeptPlaces {
  private readonly entries = new Map<string, { ptr: Ptr | undefined }>();
  private free: Ptr[];

  constructor(private readonly places: readonly Ptr[]) {
    this.free = [...places];
  }

  get(key: string): { ptr: Ptr | undefined } | undefined {
    const entry = this.entries.get(key);
    if (!entry) return undefined;
    this.entries.delete(key);
    this.entries.set(key, entry);
    return entry;
  }

  clear(): void {
    this.entries.clear();
    this.free = [...this.places];
  }

  /** Remembers that there is nothing to keep. */
  markEmpty(key: string): void {
    this.entries.set(key, { ptr: undefined });
  }

  take(key: string): Ptr {
    for (const [oldest, { ptr }] of this.entries) {
      if (this.free.length > 0) break;
      this.entries.delete(oldest);
      if (ptr !== undefined) this.free.push(ptr);
    }
    const ptr = this.free.pop()!;
    this.entries.set(key, { ptr });
    return ptr;
  }
}
