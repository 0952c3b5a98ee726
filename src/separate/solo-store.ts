import type { SeparationCall } from './plan-pieces.js';
import { measurePower } from './planes.js';
import { createPathSystem } from './path-system.js';
import type { PathEngine, PathSystem } from './path-system.js';
import { smoothTrack } from './section.js';
import type { Section, SectionAnalyser } from './section.js';

/** Calls that one bird makes while no other is heard: what paths and levels are learned from. Keeps a bounded share of them in memory. */
export class SoloStore {
  private readonly byTrack: SeparationCall[][];
  private readonly sections = new BoundedCache<SeparationCall, Section>(160 * 2 ** 20);
  private readonly systems = new BoundedCache<string, PathSystem>(96 * 2 ** 20);
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

  async load(call: SeparationCall): Promise<Section> {
    const known = this.sections.get(call);
    if (known) return known;
    const { settings } = this.analyser;
    const section = await this.analyser.cut(call.onsetSec - 0.005, Math.min(call.offsetSec, call.onsetSec + 2) + 0.1, settings.fftSize + settings.tapCount * settings.hopFrames);
    this.sections.set(call, section, section.tracks.reduce((sum, x) => sum + 12 * x.re.length, 0));
    return section;
  }

  /** Mean power of a solo call on every track, per bin. */
  async loadPowers(call: SeparationCall): Promise<Float32Array[]> {
    const known = this.powers.get(call);
    if (known) return known;
    const powers = (await this.load(call)).tracks.map((x) => {
      const mean = new Float32Array(x.binCount), power = measurePower(x);
      for (let i = 0, b = 0; i < power.length; i++) { mean[b] += power[i] / x.frameCount; if (++b === x.binCount) b = 0; }
      return mean;
    });
    this.powers.set(call, powers, powers.length * powers[0].length * 4);
    return powers;
  }

  /** Normal equations of the path from the caller's track to `receiver`, from one solo call. */
  async loadSystem(call: SeparationCall, receiver: number, floor: Float32Array): Promise<PathSystem> {
    const key = `${call.id} ${receiver}`;
    const known = this.systems.get(key);
    if (known) return known;
    const section = await this.load(call), { tracks } = section;
    const { binCount, tapCount, independence, modelError } = this.analyser.settings;
    const weight = smoothTrack(section, receiver).slice();
    for (let i = 0, b = 0; i < weight.length; i++) { weight[i] = independence / (floor[b] + modelError * weight[i]); if (++b === binCount) b = 0; }
    const system = createPathSystem(tapCount, binCount);
    this.engine.addObservations(system, [tracks[call.track]], weight, tracks[receiver]);
    this.systems.set(key, system, 8 * (system.gram.re.length + system.right.re.length));
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
    this.entries.set(key, { value, bytes });
    this.bytes += bytes;
    for (const [oldest, entry] of this.entries) {
      if (this.bytes <= this.mostBytes || oldest === key) break;
      this.entries.delete(oldest);
      this.bytes -= entry.bytes;
    }
  }
}
