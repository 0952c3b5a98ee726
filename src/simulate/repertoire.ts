import { VolaryError } from '../schema/errors.js';
import { normalizeRms } from './filters.js';
import type { Random } from './random.js';
import { renderSyllable } from './syllable.js';
import type { Syllable } from './syllable.js';
import type { CallPart, FullCallType, FullVoice } from './scene.js';

/** Audio of a sample file, mono. */
export interface SampleAudio { samples: Float32Array; sampleRateHz: number }

/** A bird's own version of its voice: the call types with its signature, and its song motif. */
export interface Repertoire {
  calls: FullCallType[];
  rippleDb: number[][];
  /** Indices into `calls` with a pitch factor each, for the motif. */
  motif: { call: number; pitch: number; stretch: number }[];
}

/** Draws a bird's signature: the same for the same random stream. */
export function drawRepertoire(voice: FullVoice, random: Random): Repertoire {
  const spread = voice.individuality;
  // One body size for all calls of a bird, so that its calls hang together.
  const size = Math.pow(2, 0.1 * spread * random.gauss());
  const calls = voice.calls.map((type): FullCallType => ({
    ...type,
    freqHz: type.freqHz * size * Math.pow(2, 0.08 * spread * random.gauss()),
    durationSec: type.durationSec.map((d) => d) as [number, number],
    sweepOct: Math.max(0, type.sweepOct * (1 + 0.5 * spread * random.gauss())),
    attackSec: type.attackSec * Math.pow(2, 0.5 * spread * random.gauss()),
    decaySec: type.decaySec * Math.pow(2, 0.5 * spread * random.gauss()),
    tiltDbPerOct: type.tiltDbPerOct + 1.5 * spread * random.gauss(),
    elementHz: type.elementHz * Math.pow(2, 0.15 * spread * random.gauss()),
    formants: type.formants.map((f) => ({ freqHz: f.freqHz * size * (1 + 0.06 * spread * random.gauss()), widthHz: f.widthHz, gainDb: f.gainDb + 3 * spread * random.gauss() })),
    ...(type.lead ? { lead: { ...type.lead, freqHz: type.lead.freqHz * size } } : {}),
    ...(type.tail ? { tail: { ...type.tail, freqHz: type.tail.freqHz * size } } : {}),
  }));
  const stretch = Math.pow(2, 0.2 * spread * random.gauss());
  for (const c of calls) c.durationSec = [c.durationSec[0] * stretch, c.durationSec[1] * stretch];
  const rippleDb = calls.map(() => Array.from({ length: 40 }, () => (1.5 + 5 * spread) * random.gauss()));
  const motif: Repertoire['motif'] = [];
  if (voice.song) {
    const count = random.whole(voice.song.syllables[0], voice.song.syllables[1]);
    for (let i = 0; i < count; i++) motif.push({ call: random.whole(0, calls.length - 1), pitch: Math.pow(2, 0.25 * random.gauss()), stretch: random.range(0.5, 1.3) });
  }
  return { calls, rippleDb, motif };
}

export interface CallShape { pitch: number; stretch: number }

/** Renders one call of a bird with its jitter from call to call; unit root mean square. */
export function renderCall(repertoire: Repertoire, callIndex: number, shape: CallShape, sampleRateHz: number, random: Random, sampleAudio: Record<string, SampleAudio>): Float64Array {
  const type = repertoire.calls[callIndex];
  if (type.kind === 'samples') return renderSample(type, shape, sampleRateHz, random, sampleAudio);
  const syllable: Syllable = {
    ...type, kind: type.kind,
    durationSec: random.range(type.durationSec[0], type.durationSec[1]) * shape.stretch,
    freqHz: Math.min(0.42 * sampleRateHz, type.freqHz * shape.pitch * Math.pow(2, 0.03 * random.gauss())),
    sweepOct: type.sweepOct * Math.max(0, 1 + 0.2 * random.gauss()),
    attackSec: type.attackSec * Math.pow(2, 0.2 * random.gauss()),
    decaySec: type.decaySec * Math.pow(2, 0.2 * random.gauss()),
    formants: type.formants.map((f) => ({ freqHz: f.freqHz * (1 + 0.02 * random.gauss()), widthHz: f.widthHz, gainDb: f.gainDb + random.gauss() })),
    rippleDb: repertoire.rippleDb[callIndex].map((r) => r + 1.2 * random.gauss()),
  };
  const middle = renderSyllable(syllable, sampleRateHz, random);
  if (!type.lead && !type.tail) return middle;
  const parts = [type.lead, undefined, type.tail].flatMap((part, place) => {
    if (place === 1) return [middle];
    if (!part) return [];
    const { sound, silence } = renderPart(part, syllable, shape, sampleRateHz, random);
    return place === 0 ? [sound, silence] : [silence, sound];
  });
  const out = new Float64Array(parts.reduce((n, p) => n + p.length, 0));
  let at = 0;
  for (const p of parts) { out.set(p, at); at += p.length; }
  normalizeRms(out);
  return out;
}

/** A part at its level beside a rest of unit root mean square, and the silence between them. */
function renderPart(part: CallPart, rest: Syllable, shape: CallShape, sampleRateHz: number, random: Random): { sound: Float64Array; silence: Float64Array } {
  const gain = Math.pow(10, random.range(part.levelDb[0], part.levelDb[1]) / 20), gapSec = random.range(part.gapSec[0], part.gapSec[1]);
  const sound = renderSyllable({
    ...rest, kind: part.kind, contour: part.contour, sweepOct: part.sweepOct, durationSec: random.range(part.durationSec[0], part.durationSec[1]) * shape.stretch,
    freqHz: Math.min(0.42 * sampleRateHz, part.freqHz * shape.pitch * Math.pow(2, 0.03 * random.gauss())),
  }, sampleRateHz, random);
  return { sound: sound.map((v) => gain * v), silence: new Float64Array(Math.round(gapSec * sampleRateHz)) };
}

/** A recorded call at a slightly different speed (pitch and length together), resampled by windowed sinc. */
function renderSample(type: FullCallType, shape: CallShape, sampleRateHz: number, random: Random, sampleAudio: Record<string, SampleAudio>): Float64Array {
  const name = random.pick(type.samples);
  const audio = sampleAudio[name];
  if (!audio) throw new VolaryError('missing', { what: 'sample file was not loaded', where: name, mend: 'give its audio in options.sampleAudio' });
  const ratio = (audio.sampleRateHz / sampleRateHz) * shape.pitch * Math.pow(2, 0.02 * random.gauss());
  const out = resampleBy(audio.samples, ratio);
  normalizeRms(out);
  return out;
}

/** out[i] = x(i * ratio), Hann-windowed sinc with the corner below both Nyquist frequencies. */
export function resampleBy(x: Float32Array, ratio: number): Float64Array {
  const corner = Math.min(1, 1 / ratio) * 0.96, half = Math.ceil(16 / corner);
  const out = new Float64Array(Math.max(1, Math.floor(x.length / ratio)));
  for (let i = 0; i < out.length; i++) {
    const at = i * ratio, center = Math.floor(at);
    let sum = 0;
    for (let j = Math.max(0, center - half + 1); j <= Math.min(x.length - 1, center + half); j++) {
      const d = at - j, w = 0.5 + 0.5 * Math.cos((Math.PI * d) / half), z = Math.PI * corner * d;
      sum += x[j] * w * (Math.abs(z) < 1e-9 ? 1 : Math.sin(z) / z);
    }
    out[i] = corner * sum;
  }
  return out;
}
