import type { BinRange } from '../kernels/paths.js';
import type { SeparationCall } from './plan-pieces.js';
import { createPathSystem } from './path-system.js';
import type { PathEngine, PathSystem } from './path-system.js';
import { smoothTrack } from './section.js';
import type { Section, SectionAnalyser } from './section.js';

/** Calls that one bird makes while no other is heard: what paths and levels are learned from. Keeps a bounded share of them in memory. */
export class SoloStore {
  private readonly byTrack: SeparationCall[][];
  private readonly sections = new BoundedCache<SeparationCall, Section>(160 * 2 ** 20);
  private readonly systems = new BoundedCache<string, { system: PathSystem; range: BinRange }>(96 * 2 ** 20);
  private readonly powers = new BoundedCache<SeparationCall, Float32Array[]>(32 * 2 ** 20);

  /** @param calls all calls in order of onset, those of birds without a tag included */
  constructor(private readonly analyser: SectionAnalyser, readonly engine: PathEngine, calls: readonly SeparationCall[], trackCount: number) {
    this.byTrack = Array.from({ length: trackCount }, () => []);
    for (const call of findSolos(calls, analyser.settings.soloGapSec)) this.byTrack[call.track].push(call);
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

  /** The stretch of a call; spectra are there for the tracks that were asked for so far. */
  async load(call: SeparationCall, tracks: readonly number[]): Promise<Section> {
    const known = this.sections.get(call), missing = new Set(tracks.filter((j) => !known || known.tracks[j].frameCount === 0));
    if (known && missing.size === 0) return known;
    const section = await this.analyser.cut(...this.findSpan(call), missing);
    known?.tracks.forEach((x, j) => { if (x.frameCount > 0) section.tracks[j] = x; });
    this.sections.set(call, section, section.tracks.reduce((sum, x) => sum + 12 * x.re.length, 0));
    return section;
  }

  private findSpan(call: SeparationCall): [fromSec: number, toSec: number, leadFrames: number] {
    const { fftSize, tapCount, hopFrames } = this.analyser.settings;
    return [call.onsetSec - 0.005, Math.min(call.offsetSec, call.onsetSec + 2) + 0.1, fftSize + tapCount * hopFrames];
  }

  /** Mean power of a solo call on every track, per bin. */
  async loadPowers(call: SeparationCall): Promise<Float32Array[]> {
    const known = this.powers.get(call);
    if (known) return known;
    const powers = await this.analyser.measureMeans(...this.findSpan(call));
    this.powers.set(call, powers, powers.length * powers[0].length * 4);
    return powers;
  }

  /**
   * Normal equations of the path from the caller's track to `receiver`, from one solo call, at least in the bins that are wanted; none where the receiver is silent.
   * @param members tracks that are likely to be asked for next, the two included
   */
  async loadSystem(call: SeparationCall, receiver: number, members: readonly number[], floor: Float32Array, wanted: BinRange): Promise<PathSystem | undefined> {
    const key = `${call.id} ${receiver}`;
    const known = this.systems.get(key);
    if (known && known.range[0] <= wanted[0] && known.range[1] >= wanted[1]) return known.system;
    const range: BinRange = known ? [Math.min(known.range[0], wanted[0]), Math.max(known.range[1], wanted[1])] : wanted;
    const section = await this.load(call, members), { tracks } = section;
    if (tracks[receiver].re.every((v) => v === 0)) return undefined;
    const { binCount, tapCount, independence, modelError } = this.analyser.settings;
    const weight = smoothTrack(section, receiver).slice();
    for (let i = 0, b = 0; i < weight.length; i++) { weight[i] = independence / (floor[b] + modelError * weight[i]); if (++b === binCount) b = 0; }
    const system = createPathSystem(tapCount, binCount);
    this.engine.addObservations(system, [tracks[call.track]], weight, tracks[receiver], range);
    this.systems.set(key, { system, range }, 8 * (system.gram.re.length + system.right.re.length));
    return system;
  }
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

/** Keeps the values used last, up to a number of bytes. */
class BoundedCache<Key, Value> {
  private readonly entries = new Map<Key, { value: Value; bytes: number }>();
  private bytes = 0;

  constructor(private readonly mostBytes: number) {}

  get(key: Key): Value | undefined {
    const entry = this.entries.get(key);
    if (!entry) return undefined;
    this.entries.delete(key);
    this.entries.set(key, entry);
    return entry.value;
  }

  clear(): void {
    this.entries.clear();
    this.bytes = 0;
  }

  set(key: Key, value: Value, bytes: number): void {
    this.bytes += bytes - (this.entries.get(key)?.bytes ?? 0);
    this.entries.delete(key);
    this.entries.set(key, { value, bytes });
    for (const [oldest, entry] of this.entries) {
      if (this.bytes <= this.mostBytes || oldest === key) break;
      this.entries.delete(oldest);
      this.bytes -= entry.bytes;
    }
  }
}
