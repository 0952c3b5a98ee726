import { applyBiquad, dbToGain, designLowPass, meanSquare, normalizeRms } from './filters.js';
import { applyLinkFaults, applyOverload } from './link.js';
import type { Random } from './random.js';
import { recordThroughClock } from './recorder-clock.js';
import type { FullTag } from './scene.js';
import type { ScenePlan } from './simulate-scene.js';
import { filterThroughTag } from './stage.js';
import type { Microphone } from './stage.js';

export interface FinishedTrack {
  bird: string;
  recorder: string;
  samples: Float32Array;
  ownVoice?: Float32Array;
  /** Mean square of the steady noise before the gain, nominal own call = 1. */
  noisePower: number;
}

/** From sound at the microphones to files: noise, overload, breakthrough, faults, gain, receiver noise, clock, clipping, rounding. */
export function finishTracks(plan: ScenePlan, microphones: readonly Microphone[], random: Random): FinishedTrack[] {
  const { scene } = plan, fs = scene.sampleRateHz;
  const rumble = makeRumble(plan, random.fork('rumble'));
  const noisePowers = microphones.map((m) => addNoise(m, plan, rumble, random.fork(`noise ${scene.birds[m.bird].name}`)));
  for (const m of microphones) applyOverload(m.sum, m.tag);
  applyBreakthrough(plan, microphones);
  const frames = Math.round(scene.durationSec * fs);
  return microphones.map((m, index) => {
    const bird = scene.birds[m.bird], clock = plan.clocks.find((c) => c.name === bird.recorder) ?? plan.clocks[0];
    const chance = random.fork(`receiver ${bird.name}`);
    applyLinkFaults(m.sum, plan.startSec, fs, plan.faults.filter((f) => f.bird === m.bird), chance);
    plan.gains[index].apply(m.sum, fs);
    addReceiver(m.sum, m.tag, plan.startSec, fs, chance);
    const record = (x: Float32Array): Float32Array => (clock.isReference ? x.slice(-Math.round(plan.startSec * fs), -Math.round(plan.startSec * fs) + frames) : recordThroughClock(x, plan.startSec, clock, fs, frames));
    const samples = record(m.sum);
    roundSamples(samples, scene.bits);
    const finished: FinishedTrack = { bird: bird.name, recorder: bird.recorder, samples, noisePower: noisePowers[index] };
    if (m.own) { plan.gains[index].apply(m.own, fs); finished.ownVoice = record(m.own); }
    return finished;
  });
}

/** Low-frequency noise that is the same at all microphones: wavelengths beyond the cage. */
function makeRumble(plan: ScenePlan, random: Random): Float32Array {
  const { background, sampleRateHz } = plan.scene;
  const rumble = new Float32Array(plan.frames);
  random.fillNoise(rumble);
  for (let k = 0; k < 2; k++) applyBiquad(rumble, designLowPass(background.rumbleHz, 0.6, sampleRateHz));
  normalizeRms(rumble);
  const g = dbToGain(background.rumbleDb);
  for (let i = 0; i < rumble.length; i++) rumble[i] *= g;
  return rumble;
}

/** Adds room noise, rumble and microphone noise; returns their mean square behind the tag's filters. */
function addNoise(m: Microphone, plan: ScenePlan, rumble: Float32Array, random: Random): number {
  const { background, sampleRateHz } = plan.scene;
  const noise = new Float32Array(plan.frames), soft = new Float32Array(plan.frames);
  random.fillNoise(noise);
  soft.set(noise);
  // Room noise falls towards high frequencies: white plus the same noise below 500 Hz.
  applyBiquad(soft, designLowPass(500, 0.5, sampleRateHz));
  const level = dbToGain(background.levelDb);
  for (let i = 0; i < noise.length; i++) noise[i] = level * (0.6 * noise[i] + 4 * soft[i]) + rumble[i];
  filterThroughTag(noise, m.tag, sampleRateHz);
  random.fillNoise(soft);
  const own = dbToGain(m.tag.noiseDb);
  for (let i = 0; i < noise.length; i++) { noise[i] += own * soft[i]; m.sum[i] += noise[i]; }
  return meanSquare(noise);
}

function applyBreakthrough(plan: ScenePlan, microphones: readonly Microphone[]): void {
  const { scene } = plan, fs = scene.sampleRateHz;
  const byName = new Map(microphones.map((m) => [scene.birds[m.bird].name, m]));
  for (const b of scene.link.breakthrough) {
    const from = byName.get(b.from), to = byName.get(b.to);
    if (!from || !to) continue;
    const start = Math.max(0, Math.round((b.onsetSec - plan.startSec) * fs)), end = Math.min(plan.frames, Math.round((Math.min(b.offsetSec, scene.durationSec) - plan.startSec) * fs));
    const g = dbToGain(b.levelDb);
    for (let i = start; i < end; i++) to.sum[i] += g * from.sum[i];
  }
}

function addReceiver(track: Float32Array, tag: FullTag, startSec: number, fs: number, random: Random): void {
  const noise = dbToGain(tag.receiverNoiseDbfs), hum = Math.SQRT2 * dbToGain(tag.humDbfs);
  if (tag.receiverNoiseDbfs > -140) {
    const white = new Float32Array(track.length);
    random.fillNoise(white);
    for (let i = 0; i < track.length; i++) track[i] += noise * white[i];
  }
  if (tag.humDbfs > -140) {
    const parts = [1, 2, 3, 5].map((h) => ({ w: (2 * Math.PI * h * tag.humHz) / fs, phase: random.range(0, 6.28), g: (hum / h) * random.range(0.3, 1) }));
    for (const p of parts) for (let i = 0; i < track.length; i++) track[i] += p.g * Math.sin(p.phase + p.w * (i + startSec * fs));
  }
  if (tag.dcOffset !== 0) for (let i = 0; i < track.length; i++) track[i] += tag.dcOffset;
}

/** Clips to [-1, 1 - one step] and rounds to whole steps. */
function roundSamples(x: Float32Array, bits: number): void {
  const steps = Math.pow(2, bits - 1);
  for (let i = 0; i < x.length; i++) x[i] = Math.max(-steps, Math.min(steps - 1, Math.round(x[i] * steps))) / steps;
}
