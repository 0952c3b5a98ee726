import { findLabelEdges } from './label-edges.js';
import { normalizeRms } from './filters.js';
import { drawPoissonTimes } from './random.js';
import type { Random } from './random.js';
import { drawRepertoire, renderCall } from './repertoire.js';
import type { CallShape, Repertoire, SampleAudio } from './repertoire.js';
import type { FullBird, FullScene } from './scene.js';

/** A call before it is placed in the room. */
export interface PlannedCall {
  bird: number;
  type: string;
  /** Reference time of the first sample of `samples` at the wearer's own microphone (direct path). */
  startSec: number;
  /** Label edges on the same clock, half-open. */
  onsetSec: number;
  offsetSec: number;
  levelDb: number;
  /** Unit root mean square between the edges. */
  samples: Float64Array;
  replyTo: string;
}

const SAME_BIRD_GAP_SEC = 0.03;

/** Draws who calls when. The list is in order of onset; no bird overlaps itself. */
export function planCalls(scene: FullScene, random: Random, sampleAudio: Record<string, SampleAudio>): PlannedCall[] {
  const planner = new CallPlanner(scene, random, sampleAudio);
  if (scene.calls) for (const call of scene.calls) planner.addExplicit(call.bird, call.onsetSec, call.type, call.levelDb);
  else planner.drawAll();
  return planner.finish();
}

class CallPlanner {
  private readonly calls: PlannedCall[] = [];
  private readonly repertoires: Repertoire[];
  private readonly chance: Random;
  private readonly fromSec: number;
  private readonly toSec: number;
  private serial = 0;

  constructor(private readonly scene: FullScene, private readonly random: Random, private readonly sampleAudio: Record<string, SampleAudio>) {
    this.chance = random.fork('calls');
    this.repertoires = scene.birds.map((b) => drawRepertoire(scene.voices[b.voice], random.fork(`signature ${b.name}`)));
    const shift = Math.max(0, ...scene.recorders.map((r) => Math.abs(r.offsetSec)));
    this.fromSec = Math.min(scene.calling.marginSec + shift, scene.durationSec * 0.4);
    this.toSec = scene.durationSec - this.fromSec;
  }

  addExplicit(name: string, onsetSec: number, typeName?: string, levelDb?: number): void {
    const bird = this.scene.birds.findIndex((b) => b.name === name);
    const types = this.repertoires[bird].calls;
    const index = typeName === undefined ? this.pickType(bird) : types.findIndex((c) => c.name === typeName);
    const level = levelDb ?? this.chance.range(types[index].levelDb[0], types[index].levelDb[1]) + this.scene.birds[bird].levelDb;
    this.calls.push(this.make(bird, index, onsetSec, level, ''));
  }

  drawAll(): void {
    const { scene, chance } = this;
    const rates = scene.birds.map((b) => b.callsPerMin);
    const total = rates.reduce((a, b) => a + b, 0);
    const wanted = Math.round(((this.toSec - this.fromSec) / 60) * total * chance.range(0.85, 1.15));
    if (total > 0) this.addSongs();
    for (let tries = 0, made = this.calls.length; made < wanted && tries < wanted * 12; tries++) {
      const caller = chance.pickWeighted(rates);
      if (this.calls.length > 0 && chance.chance(scene.calling.overlapShare)) { if (this.addOverlapping(caller)) made++; continue; }
      const first = this.addFree(caller);
      if (!first) continue;
      made++;
      for (let last: PlannedCall | undefined = first; last && made < wanted && chance.chance(scene.calling.replyProbability);) {
        last = this.addReply(last, rates);
        if (last) made++;
      }
    }
  }

  finish(): PlannedCall[] {
    return this.calls.filter((c) => c.onsetSec >= 0 && c.offsetSec < this.scene.durationSec).sort((a, b) => a.onsetSec - b.onsetSec || a.bird - b.bird);
  }

  private addSongs(): void {
    this.scene.birds.forEach((bird, b) => {
      const song = this.scene.voices[bird.voice].song, motif = this.repertoires[b].motif;
      if (!song || motif.length === 0 || bird.callsPerMin <= 0) return;
      const chance = this.random.fork(`song ${bird.name}`);
      for (const start of drawPoissonTimes(chance, song.boutsPerMin, this.fromSec, this.toSec)) {
        let t = start;
        const motifs = chance.whole(song.motifs[0], song.motifs[1]);
        const level = chance.range(song.levelDb[0], song.levelDb[1]) + bird.levelDb;
        for (let m = 0; m < motifs && t < this.toSec; m++) for (const note of motif) {
          const call = this.make(b, note.call, t, level + 2 * chance.gauss(), '', note);
          if (call.offsetSec > this.toSec || !this.isBirdFree(b, call.onsetSec, call.offsetSec)) break;
          this.calls.push(call);
          t = call.offsetSec + Math.max(SAME_BIRD_GAP_SEC, chance.range(song.gapSec[0], song.gapSec[1]));
        }
      }
    });
  }

  private addFree(bird: number): PlannedCall | undefined {
    const call = this.draw(bird, this.chance.range(this.fromSec, this.toSec), '');
    const clear = !this.calls.some((c) => c.onsetSec < call.offsetSec + 0.02 && call.onsetSec < c.offsetSec + 0.02);
    return clear ? this.keep(call) : undefined;
  }

  private addOverlapping(bird: number): boolean {
    const other = this.chance.pick(this.calls);
    if (other.bird === bird) return false;
    const onset = other.onsetSec + this.chance.range(-0.3, 0.95) * (other.offsetSec - other.onsetSec);
    const call = this.draw(bird, onset, '');
    return this.isBirdFree(bird, call.onsetSec, call.offsetSec) && this.keep(call) !== undefined;
  }

  private addReply(to: PlannedCall, rates: number[]): PlannedCall | undefined {
    const others = rates.map((r, i) => (i === to.bird ? 0 : r));
    if (others.every((r) => r === 0)) return undefined;
    const [low, high] = this.scene.calling.replyLatencySec;
    const bird = this.chance.pickWeighted(others);
    const call = this.draw(bird, to.offsetSec + this.chance.range(low, high), this.scene.birds[to.bird].name);
    return this.isBirdFree(bird, call.onsetSec, call.offsetSec) ? this.keep(call) : undefined;
  }

  private keep(call: PlannedCall): PlannedCall | undefined {
    if (call.onsetSec < this.fromSec || call.offsetSec > this.toSec) return undefined;
    this.calls.push(call);
    return call;
  }

  private isBirdFree(bird: number, onsetSec: number, offsetSec: number): boolean {
    return !this.calls.some((c) => c.bird === bird && c.onsetSec < offsetSec + SAME_BIRD_GAP_SEC && onsetSec < c.offsetSec + SAME_BIRD_GAP_SEC);
  }

  private pickType(bird: number): number { return this.chance.pickWeighted(this.repertoires[bird].calls.map((c) => c.share)); }

  private draw(bird: number, onsetSec: number, replyTo: string): PlannedCall {
    const index = this.pickType(bird);
    const [low, high] = this.repertoires[bird].calls[index].levelDb;
    return this.make(bird, index, onsetSec, this.chance.range(low, high) + this.scene.birds[bird].levelDb, replyTo);
  }

  private make(bird: number, index: number, onsetSec: number, levelDb: number, replyTo: string, shape: CallShape = { pitch: 1, stretch: 1 }): PlannedCall {
    const { sampleRateHz } = this.scene;
    const own: FullBird = this.scene.birds[bird];
    const samples = renderCall(this.repertoires[bird], index, shape, sampleRateHz, this.random.fork(`call ${own.name} ${this.serial++}`), this.sampleAudio);
    const edges = findLabelEdges(samples, sampleRateHz);
    normalizeRms(samples, Math.max(0, edges.startFrame), Math.min(samples.length, edges.endFrame));
    return {
      bird, type: this.repertoires[bird].calls[index].name, levelDb, replyTo, samples, onsetSec,
      startSec: onsetSec - edges.startFrame / sampleRateHz,
      offsetSec: onsetSec + (edges.endFrame - edges.startFrame) / sampleRateHz,
    };
  }
}
