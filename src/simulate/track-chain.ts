import { dbToGain, designLowPass, FilterChain } from './filters.js';
import { applyLinkFaults, applyOverload } from './link.js';
import type { Random } from './random.js';
import { recordThroughClock } from './recorder-clock.js';
import type { FullTag } from './scene.js';
import type { ScenePlan } from './simulate-scene.js';
import { designTagFilters } from './stage.js';
import type { Microphone } from './stage.js';

export interface FinishedTrack {
  bird: string;
  recorder: string;
  samples: Float32Array;
  ownVoice?: Float32Array;
  /** Mean square of the steady noise before the gain, nominal own call = 1. */
  noisePower: number;
  /** Blocks of the internal track in which the tag overloaded. */
  overloads: Uint8Array;
}

/** From sound at the microphones to files: noise, overload, breakthrough, faults, gain, receiver noise, clock, clipping, rounding. */
export function finishTracks(plan: ScenePlan, microphones: readonly Microphone[], random: Random): FinishedTrack[] {
  const { scene } = plan, fs = scene.sampleRateHz;
  const rumble = makeRumble(plan, random.fork('rumble'));
  const noisePowers = microphones.map((m) => addNoise(m, plan, rumble, random.fork(`noise ${scene.birds[m.bird].name}`)));
  const overloads = microphones.map((m) => applyOverload(m.sum, m.tag));
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
    const finished: FinishedTrack = { bird: bird.name, recorder: bird.recorder, samples, noisePower: noisePowers[index], overloads: overloads[index] };
    if (m.own) { plan.gains[index].apply(m.own, fs); finished.ownVoice = record(m.own); }
    return finished;
  });
}

const BLOCK = 4096;

/** Low-frequency noise that is the same at all microphones: wavelengths beyond the cage. */
function makeRumble(plan: ScenePlan, random: Random): Float32Array {
  const { background, sampleRateHz } = plan.scene, lowPass = designLowPass(background.rumbleHz, 0.6, sampleRateHz);
  const rumble = new Float32Array(plan.frames), chain = new FilterChain([lowPass, lowPass]), block = new Float64Array(BLOCK);
  let energy = 0;
  for (let start = 0; start < rumble.length; start += BLOCK) {
    random.fillNoise(block);
    chain.process(block);
    const n = Math.min(BLOCK, rumble.length - start);
    for (let i = 0; i < n; i++) { rumble[start + i] = block[i]; energy += block[i] * block[i]; }
  }
  const g = dbToGain(background.rumbleDb) / Math.sqrt(energy / rumble.length);
  for (let i = 0; i < rumble.length; i++) rumble[i] *= g;
  return rumble;
}

/** Adds room noise, rumble and microphone noise; returns their mean square behind the tag's filters. */
function addNoise(m: Microphone, plan: ScenePlan, rumble: Float32Array, random: Random): number {
  const { background, sampleRateHz } = plan.scene, { sum } = m;
  const tagChain = new FilterChain(designTagFilters(m.tag, sampleRateHz));
  // Room noise falls towards high frequencies: white plus a stronger part below 500 Hz.
  const pole = Math.exp((-2 * Math.PI * 500) / sampleRateHz);
  const level = dbToGain(background.levelDb), own = dbToGain(m.tag.noiseDb);
  const room = new Float64Array(BLOCK), white = new Float64Array(BLOCK);
  let soft = 0, energy = 0;
  for (let start = 0; start < sum.length; start += BLOCK) {
    const n = Math.min(BLOCK, sum.length - start);
    random.fillNoise(room);
    random.fillNoise(white);
    for (let i = 0; i < n; i++) {
      soft = pole * soft + (1 - pole) * room[i];
      room[i] = level * (0.7 * room[i] + 3.5 * soft) + rumble[start + i];
    }
    tagChain.process(room, n);
    for (let i = 0; i < n; i++) { const v = room[i] + own * white[i]; energy += v * v; sum[start + i] += v; }
  }
  return energy / sum.length;
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
  const noise = dbToGain(tag.receiverNoiseDbfs), block = new Float64Array(BLOCK);
  for (let start = 0; start < track.length; start += BLOCK) {
    random.fillNoise(block);
    const n = Math.min(BLOCK, track.length - start);
    for (let i = 0; i < n; i++) track[start + i] += noise * block[i] + tag.dcOffset;
  }
  if (tag.humDbfs <= -140) return;
  const hum = Math.SQRT2 * dbToGain(tag.humDbfs);
  for (const h of [1, 2, 3, 5]) {
    const w = (2 * Math.PI * h * tag.humHz) / fs, phase = random.range(0, 6.28) + w * startSec * fs, g = (hum / h) * random.range(0.3, 1);
    for (let i = 0; i < track.length; i++) track[i] += g * Math.sin(phase + w * i);
  }
}

/** Clips to [-1, 1 - one step] and rounds to whole steps. */
function roundSamples(x: Float32Array, bits: number): void {
  const steps = Math.pow(2, bits - 1), top = steps - 1;
  for (let i = 0; i < x.length; i++) {
    const v = Math.floor(x[i] * steps + 0.5);
    x[i] = (v > top ? top : v < -steps ? -steps : v) / steps;
  }
}
