import { applyBiquad, dbToGain, designHighPass, designLowPass, normalizeRms } from './filters.js';
import { drawPoissonTimes } from './random.js';
import type { Random } from './random.js';
import type { PlannedCall } from './call-plan.js';
import type { FullLink, FullScene, FullTag } from './scene.js';
import { NOMINAL_OWN_DBFS } from './scene.js';

/** A stretch in which a receiver does not hear its tag (dropout) or hears it badly (fade). Level relative to the nominal own call. */
export interface LinkFault { kind: 'dropout' | 'fade' | 'battery'; bird: number; onsetSec: number; offsetSec: number; levelDb: number; noise: 'flat' | 'rising' | 'falling' | 'silent' }

export function planLinkFaults(scene: FullScene, calls: readonly PlannedCall[], random: Random): LinkFault[] {
  const faults: LinkFault[] = [], link = scene.link;
  scene.birds.forEach((bird, b) => {
    if (!bird.tagged) return;
    const chance = random.fork(`link ${bird.name}`);
    const add = (kind: LinkFault['kind'], onsetSec: number, lengthSec: number): void => {
      const offsetSec = Math.min(scene.durationSec, onsetSec + lengthSec);
      if (onsetSec < 0 || faults.some((f) => f.bird === b && f.onsetSec < offsetSec + 0.05 && onsetSec < f.offsetSec + 0.05)) return;
      faults.push({ kind, bird: b, onsetSec, offsetSec, levelDb: chance.range(link.noiseDb[0], link.noiseDb[1]), noise: pickNoise(link, chance) });
    };
    if (bird.tag.batteryEndSec !== undefined && bird.tag.batteryEndSec < scene.durationSec) {
      faults.push({ kind: 'battery', bird: b, onsetSec: bird.tag.batteryEndSec, offsetSec: scene.durationSec, levelDb: bird.tag.batteryEndNoiseDb, noise: pickNoise(link, chance) });
    }
    for (const t of drawPoissonTimes(chance, link.lossPerMin, 0, scene.durationSec)) add('dropout', t, chance.logRange(link.lossSec[0], link.lossSec[1]));
    for (const call of calls) if (call.bird === b && chance.chance(link.hitCallProbability)) {
      const length = chance.logRange(link.burstSec[0], link.burstSec[1]);
      add('dropout', chance.range(call.onsetSec - 0.8 * length, call.offsetSec - 0.2 * length), length);
    }
    for (const t of drawPoissonTimes(chance, link.burstPerMin, 0, scene.durationSec)) add('dropout', t, chance.logRange(link.burstSec[0], link.burstSec[1]));
    for (const t of drawPoissonTimes(chance, link.fadePerMin, 0, scene.durationSec)) add('fade', t, chance.logRange(link.fadeSec[0], link.fadeSec[1]));
  });
  return faults.sort((a, b) => a.onsetSec - b.onsetSec);
}

function pickNoise(link: FullLink, chance: Random): LinkFault['noise'] {
  return link.noiseKind === 'mixed' ? chance.pick(['flat', 'flat', 'rising', 'falling', 'silent'] as const) : link.noiseKind;
}

/** Puts the faults of one bird into its track (in place). Sample 0 stands at startSec. */
export function applyLinkFaults(track: Float32Array, startSec: number, sampleRateHz: number, faults: readonly LinkFault[], random: Random): void {
  for (const fault of faults) {
    const from = Math.max(0, Math.round((fault.onsetSec - startSec) * sampleRateHz));
    const to = fault.kind === 'battery' ? track.length : Math.min(track.length, Math.round((fault.offsetSec - startSec) * sampleRateHz));
    if (to - from < 2) continue;
    const noise = renderReceiverNoise(to - from, fault.noise, sampleRateHz, random);
    const gain = fault.noise === 'silent' ? 0 : dbToGain(fault.levelDb), ramp = Math.max(1, Math.min((to - from) / 2, 0.002 * sampleRateHz));
    for (let i = 0; i < noise.length; i++) {
      const left = Math.min(i, noise.length - 1 - i);
      // A fade comes and goes over its whole length and lets some signal through.
      const lost = fault.kind === 'fade' ? 0.9 * Math.pow(Math.sin((Math.PI * i) / noise.length), 2) : Math.min(1, left / ramp);
      track[from + i] = (1 - lost) * track[from + i] + lost * lost * gain * noise[i];
    }
  }
}

function renderReceiverNoise(frames: number, kind: LinkFault['noise'], sampleRateHz: number, random: Random): Float64Array {
  const noise = new Float64Array(frames);
  if (kind === 'silent') return noise;
  random.fillNoise(noise);
  if (kind === 'rising') applyBiquad(noise, designHighPass(0.35 * sampleRateHz, 0.5, sampleRateHz));
  if (kind === 'falling') applyBiquad(noise, designLowPass(2200, 0.5, sampleRateHz));
  normalizeRms(noise);
  return noise;
}

/** Frames per entry of what applyOverload returns. */
export const OVERLOAD_BLOCK = 64;

/**
 * Overload of the tag's microphone amplifier or modulator, in place: hard or soft at a peak level before the receiver's gain,
 * so that a flattened call need not reach full scale in the file.
 * @returns 1 for every block of OVERLOAD_BLOCK frames that went over the limit
 */
export function applyOverload(track: Float32Array, tag: FullTag): Uint8Array {
  const limit = dbToGain(tag.overloadDb), over = new Uint8Array(Math.ceil(track.length / OVERLOAD_BLOCK));
  for (let i = 0; i < track.length; i++) {
    const v = track[i], size = Math.abs(v);
    if (size > limit) {
      over[Math.floor(i / OVERLOAD_BLOCK)] = 1;
      if (!tag.softOverload) track[i] = v > 0 ? limit : -limit;
    }
    if (tag.softOverload && size > 0.05 * limit) track[i] = limit * Math.tanh(v / limit);
  }
  return over;
}

/** Receiver gain over time in dB: a constant plus smoothed random steps. */
export class GainCourse {
  private readonly knots: number[] = [];

  constructor(private readonly tag: FullTag, private readonly startSec: number, endSec: number, random: Random) {
    const count = tag.gainWanderDb > 0 ? Math.ceil((endSec - startSec) / tag.gainWanderSec) + 3 : 0;
    for (let i = 0; i < count; i++) this.knots.push(tag.gainWanderDb * random.gauss());
  }

  levelDb(atSec: number): number {
    const base = NOMINAL_OWN_DBFS + this.tag.gainDb;
    if (this.knots.length === 0) return base;
    const x = Math.max(0, (atSec - this.startSec) / this.tag.gainWanderSec), k = Math.min(this.knots.length - 2, Math.floor(x));
    const w = 0.5 - 0.5 * Math.cos(Math.PI * Math.min(1, x - k));
    return base + this.knots[k] * (1 - w) + this.knots[k + 1] * w;
  }

  /** Multiplies the track in place, gain interpolated over blocks of 256 samples. */
  apply(track: Float32Array, sampleRateHz: number): void {
    for (let start = 0; start < track.length; start += 256) {
      const g0 = dbToGain(this.levelDb(this.startSec + start / sampleRateHz)), g1 = dbToGain(this.levelDb(this.startSec + (start + 256) / sampleRateHz));
      const end = Math.min(track.length, start + 256);
      for (let i = start; i < end; i++) track[i] *= g0 + ((g1 - g0) * (i - start)) / 256;
    }
  }
}
