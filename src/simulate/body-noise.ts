import { applyBiquad, designBandPass, designHighPass, designLowPass, normalizeRms } from './filters.js';
import { drawPoissonTimes } from './random.js';
import type { Random } from './random.js';
import type { FullScene } from './scene.js';
import type { Move } from './pose.js';

export type BodyKind = 'wing' | 'preening' | 'scratching' | 'pecking' | 'landing' | 'shaking';

/** A sound of the wearer's body or harness: loud on its own track. `samples` has unit root mean square. */
export interface BodyEvent { kind: BodyKind; bird: number; startSec: number; samples: Float64Array; levelDb: number }

/** Draws all body sounds of the tagged birds. Flights between perches come with wing beats and a landing. */
export function planBodyNoise(scene: FullScene, moves: readonly Move[], random: Random): BodyEvent[] {
  const events: BodyEvent[] = [], rates = scene.bodyNoise;
  scene.birds.forEach((bird, b) => {
    if (!bird.tagged) return;
    const chance = random.fork(`body ${bird.name}`);
    const manner = drawManner(chance);
    const add = (kind: BodyKind, startSec: number, lengthSec: number, extraDb = 0): void => {
      const samples = renderBody(kind, lengthSec, manner, scene.sampleRateHz, chance);
      const levelDb = chance.range(rates.levelDb[0], rates.levelDb[1]) + extraDb;
      if (startSec + lengthSec < scene.durationSec) events.push({ kind, bird: b, startSec, samples, levelDb });
    };
    for (const move of moves) if (move.bird === b) {
      add('wing', move.atSec - move.flightSec, move.flightSec, 3);
      add('landing', move.atSec, chance.range(0.03, 0.12));
    }
    const draw = (kind: BodyKind, perMin: number, low: number, high: number, extraDb = 0): void => {
      for (const t of drawPoissonTimes(chance, perMin, 0.1, scene.durationSec)) add(kind, t, chance.logRange(low, high), extraDb);
    };
    draw('wing', rates.wingPerMin, 0.12, 1.2, 3);
    draw('preening', rates.preenPerMin, 0.2, 2.5, -5);
    draw('scratching', rates.scratchPerMin, 0.2, 1.2);
    draw('pecking', rates.peckPerMin, 0.01, 0.8);
    draw('landing', rates.hopPerMin, 0.02, 0.12);
    draw('shaking', rates.shakePerMin, 0.15, 0.5, 3);
  });
  return events.sort((a, b) => a.startSec - b.startSec);
}

/** How this harness and these feathers sound. */
interface Manner { wingHz: number; wingCutHz: number; rustleHz: number; rustleQ: number; scratchHz: number; knockHz: number }

function drawManner(chance: Random): Manner {
  return {
    wingHz: chance.range(13, 30), wingCutHz: chance.logRange(250, 5000), rustleHz: chance.logRange(900, 8000),
    rustleQ: chance.range(0.4, 1.6), scratchHz: chance.range(9, 24), knockHz: chance.logRange(250, 3500),
  };
}

function renderBody(kind: BodyKind, lengthSec: number, manner: Manner, fs: number, chance: Random): Float64Array {
  const out = new Float64Array(Math.max(32, Math.round(lengthSec * fs)));
  switch (kind) {
    case 'wing': renderStrokes(out, manner.wingHz * chance.range(0.9, 1.1), chance.range(1, 3.5), manner.wingCutHz * chance.range(0.7, 1.4), fs, chance); break;
    case 'shaking': renderStrokes(out, chance.range(20, 45), 1.5, Math.max(1500, manner.rustleHz), fs, chance); break;
    case 'preening': renderGrains(out, manner.rustleHz, manner.rustleQ, chance.range(6, 30), fs, chance); break;
    case 'scratching': renderScrapes(out, manner, fs, chance); break;
    case 'pecking': renderKnocks(out, manner.knockHz, chance.range(2, 9), fs, chance); break;
    case 'landing': renderKnocks(out, manner.knockHz * 0.5, 20, fs, chance); break;
  }
  normalizeRms(out);
  return out;
}

/** Noise whose power follows the wing stroke; low-passed, with a weak hiss above. */
function renderStrokes(out: Float64Array, strokeHz: number, sharpness: number, cutHz: number, fs: number, chance: Random): void {
  chance.fillNoise(out);
  const hiss = out.slice(), phase = chance.range(0, 2 * Math.PI), wobble = chance.range(-0.15, 0.15);
  applyBiquad(out, designLowPass(cutHz, 0.6, fs));
  if (chance.chance(0.6)) applyBiquad(out, designLowPass(cutHz * 1.5, 0.6, fs));
  applyBiquad(out, designHighPass(40, 0.7, fs));
  applyBiquad(hiss, designHighPass(2000, 0.6, fs));
  normalizeRms(out);
  const share = chance.logRange(0.005, 0.25);
  for (let i = 0; i < out.length; i++) {
    const x = i / out.length, t = i / fs;
    const stroke = Math.pow(0.5 + 0.5 * Math.sin(phase + 2 * Math.PI * strokeHz * t * (1 + wobble * x)), 2 * sharpness);
    out[i] = (out[i] + share * hiss[i]) * (0.08 + stroke) * Math.min(1, 8 * x, 6 * (1 - x) + 0.02);
  }
}

/** Irregular rustling: grains of band noise with random strength, length and colour. */
function renderGrains(out: Float64Array, centerHz: number, q: number, grainsPerSec: number, fs: number, chance: Random): void {
  for (let t = 0; t * fs < out.length; t += chance.wait(1 / grainsPerSec)) {
    const length = Math.max(16, Math.round(chance.logRange(0.004, 0.07) * fs));
    const grain = new Float64Array(length);
    chance.fillNoise(grain);
    applyBiquad(grain, designBandPass(centerHz * Math.pow(2, 0.5 * chance.gauss()), q, fs));
    if (chance.chance(0.15)) applyBiquad(grain, designLowPass(400, 0.7, fs));
    normalizeRms(grain);
    const g = Math.pow(10, (7 * chance.gauss()) / 20), start = Math.round(t * fs);
    for (let i = 0; i < length && start + i < out.length; i++) out[start + i] += g * grain[i] * Math.sin((Math.PI * (i + 0.5)) / length);
  }
}

function renderScrapes(out: Float64Array, manner: Manner, fs: number, chance: Random): void {
  const rate = manner.scratchHz * chance.range(0.9, 1.1), count = Math.max(2, Math.floor((out.length / fs) * rate));
  for (let k = 0; k < count; k++) {
    const length = Math.round((fs / rate) * chance.range(0.3, 0.7));
    const scrape = new Float64Array(length);
    chance.fillNoise(scrape);
    applyBiquad(scrape, designHighPass(chance.range(200, 900), 0.6, fs));
    applyBiquad(scrape, designLowPass(chance.range(3000, 9000), 0.6, fs));
    const start = Math.round((k / count) * out.length), g = Math.pow(10, (3 * chance.gauss()) / 20);
    for (let i = 0; i < length && start + i < out.length; i++) out[start + i] += g * scrape[i] * Math.min(1, (8 * i) / length) * (1 - i / length);
  }
}

/** Short decaying modes with a click: bill on wood, feet on a perch. */
function renderKnocks(out: Float64Array, baseHz: number, knocksPerSec: number, fs: number, chance: Random): void {
  for (let t = 0.001; t * fs < out.length; t += chance.range(0.6, 1.4) / knocksPerSec) {
    const start = Math.round(t * fs), modes = chance.whole(2, 4);
    for (let m = 0; m < modes; m++) {
      const f = Math.min(0.45 * fs, baseHz * chance.range(0.6, 3.5)), decay = chance.logRange(0.0015, 0.018), g = chance.range(0.3, 1), phase = chance.range(0, 6.28);
      const end = Math.min(out.length, start + Math.round(7 * decay * fs));
      for (let i = start; i < end; i++) out[i] += g * Math.exp(-(i - start) / fs / decay) * Math.sin(phase + (2 * Math.PI * f * (i - start)) / fs);
    }
    const click = Math.min(out.length, start + Math.round(0.002 * fs));
    for (let i = start; i < click; i++) out[i] += 0.6 * chance.gauss() * (1 - (i - start) / (click - start));
  }
}
