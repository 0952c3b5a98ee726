import { applyBiquad, designLowPass, normalizeRms } from './filters.js';
import { renderKnock } from './knock.js';
import { drawPoissonTimes } from './random.js';
import type { Random } from './random.js';
import type { FullScene } from './scene.js';
import { renderSyllable } from './syllable.js';
import type { Vec3 } from './vector.js';

export type RoomKind = 'cage' | 'thump' | 'speech' | 'knock';

/** A sound that belongs to no bird, from one place in the room; `samples` has unit root mean square. */
export interface RoomEvent { kind: RoomKind; startSec: number; positionM: Vec3; samples: Float64Array; levelDb: number }

export function planRoomNoise(scene: FullScene, random: Random): RoomEvent[] {
  const events: RoomEvent[] = [], rates = scene.roomNoise;
  const chance = random.fork('room noise');
  const draw = (kind: RoomKind, perMin: number, low: number, high: number, render: (out: Float64Array) => Float64Array): void => {
    for (const startSec of drawPoissonTimes(chance, perMin, 0.2, scene.durationSec - 0.2)) {
      const samples = render(new Float64Array(Math.round(chance.logRange(low, high) * scene.sampleRateHz)));
      normalizeRms(samples);
      const positionM = scene.room.sizeM.map((s) => s * chance.range(0.05, 0.95)) as unknown as Vec3;
      events.push({ kind, startSec, positionM, samples, levelDb: chance.range(rates.levelDb[0], rates.levelDb[1]) });
    }
  };
  draw('cage', rates.cagePerMin, 0.05, 0.6, (out) => renderRattle(out, scene.sampleRateHz, chance));
  draw('thump', rates.thumpPerMin, 0.15, 0.6, (out) => renderThump(out, scene.sampleRateHz, chance));
  draw('speech', rates.speechPerMin, 0.3, 1.5, (out) => renderSpeech(out, scene.sampleRateHz, chance));
  draw('knock', rates.knockPerMin, 0.08, 0.8, (out) => renderKnock(out, scene.sampleRateHz, chance));
  return events.sort((a, b) => a.startSec - b.startSec);
}

/** Struck wire and metal: inharmonic modes, struck a few times. */
function renderRattle(out: Float64Array, fs: number, chance: Random): Float64Array {
  const modes = Array.from({ length: chance.whole(4, 10) }, () => ({ f: Math.min(0.45 * fs, chance.logRange(700, 9000)), decay: chance.logRange(0.004, 0.06), g: chance.range(0.2, 1) }));
  for (let k = chance.whole(1, 6); k > 0; k--) {
    const start = Math.floor(chance.range(0, 0.7) * out.length), hit = chance.range(0.3, 1);
    for (const m of modes) {
      const phase = chance.range(0, 6.28), end = Math.min(out.length, start + Math.round(7 * m.decay * fs)), g = hit * m.g * chance.range(0.5, 1);
      for (let i = start; i < end; i++) out[i] += g * Math.exp(-(i - start) / fs / m.decay) * Math.sin(phase + (2 * Math.PI * m.f * (i - start)) / fs);
    }
  }
  return out;
}

function renderThump(out: Float64Array, fs: number, chance: Random): Float64Array {
  chance.fillNoise(out);
  for (let k = 0; k < 2; k++) applyBiquad(out, designLowPass(chance.range(120, 600), 0.7, fs));
  const decay = chance.range(0.03, 0.15);
  for (let i = 0; i < out.length; i++) out[i] *= Math.min(1, i / (0.004 * fs)) * Math.exp(-i / fs / decay);
  return out;
}

/** People at a distance: low harmonic stacks with vowel-like bands. */
function renderSpeech(out: Float64Array, fs: number, chance: Random): Float64Array {
  const pitchHz = chance.logRange(95, 240);
  for (let t = 0; t * fs < out.length; t += chance.range(0.15, 0.3)) {
    const vowel = renderSyllable({
      kind: 'stack', durationSec: chance.range(0.1, 0.25), freqHz: pitchHz * chance.range(0.9, 1.15), contour: chance.pick(['down', 'arch', 'flat']), sweepOct: chance.range(0, 0.3),
      vibratoHz: 0, vibratoSemitones: 0, attackSec: 0.03, decaySec: 0.06, tiltDbPerOct: -5,
      formants: [{ freqHz: chance.range(300, 800), widthHz: 120, gainDb: 0 }, { freqHz: chance.range(900, 2200), widthHz: 180, gainDb: -6 }, { freqHz: chance.range(2300, 3000), widthHz: 250, gainDb: -14 }],
      rippleDb: [0], noiseShare: 0.05, elementHz: 0, elementDuty: 1, bandwidthOct: 1, secondRatio: 1,
    }, fs, chance);
    const start = Math.round(t * fs), g = chance.range(0.4, 1);
    for (let i = 0; i < vowel.length && start + i < out.length; i++) out[start + i] += g * vowel[i];
  }
  return out;
}
