import { applyBiquad, designBandPass, designHighPass, designLowPass, normalizeRms } from './filters.js';
import type { Random } from './random.js';
import type { Contour, Formant, SyllableKind } from './scene.js';

/** One call with every number settled. */
export interface Syllable {
  kind: Exclude<SyllableKind, 'samples'>;
  durationSec: number;
  freqHz: number;
  contour: Contour;
  sweepOct: number;
  vibratoHz: number;
  vibratoSemitones: number;
  attackSec: number;
  decaySec: number;
  tiltDbPerOct: number;
  formants: Formant[];
  /** Gain of each harmonic in dB: part of a bird's signature. */
  rippleDb: number[];
  noiseShare: number;
  elementHz: number;
  elementDuty: number;
  bandwidthOct: number;
  secondRatio: number;
}

const CONTROL_SEC = 0.001;

/** Renders a call of unit root mean square. */
export function renderSyllable(s: Syllable, sampleRateHz: number, random: Random): Float64Array {
  const out = new Float64Array(Math.max(8, Math.round(s.durationSec * sampleRateHz)));
  if (s.kind === 'trill') renderTrill(out, s, sampleRateHz, random);
  else if (s.kind === 'tick') renderTick(out, s, sampleRateHz, random);
  else {
    if (s.kind === 'harsh') renderHarsh(out, s, sampleRateHz, random);
    else renderTonal(out, s, sampleRateHz, random);
    if (s.elementHz > 0) modulate(out, s, sampleRateHz, random);
    shapeEnvelope(out, s, sampleRateHz, random);
  }
  normalizeRms(out);
  return out;
}

/** Frequency factor along a call, x in [0, 1]. */
export function evaluateContour(contour: Contour, sweepOct: number, x: number): number {
  switch (contour) {
    case 'flat': return 1;
    case 'down': return Math.pow(2, sweepOct * (0.5 - x));
    case 'up': return Math.pow(2, sweepOct * (x - 0.5));
    case 'arch': return Math.pow(2, sweepOct * (0.5 - 2 * (x - 0.45) * (x - 0.45) / 0.5));
    case 'valley': return Math.pow(2, sweepOct * (2 * (x - 0.55) * (x - 0.55) / 0.5 - 0.5));
    case 'wave': return Math.pow(2, 0.5 * sweepOct * Math.sin(2 * Math.PI * 1.5 * x));
  }
}

function renderTonal(out: Float64Array, s: Syllable, sampleRateHz: number, random: Random): void {
  addVoice(out, s, s.freqHz, 1, sampleRateHz, random);
  if (s.kind === 'double') addVoice(out, s, s.freqHz * s.secondRatio, random.range(0.4, 1), sampleRateHz, random);
  normalizeRms(out);
  if (s.noiseShare <= 0) return;
  const noise = new Float64Array(out.length);
  random.fillNoise(noise);
  const low = s.kind === 'whistle' ? s.freqHz * 0.6 : Math.max(400, s.freqHz);
  applyBiquad(noise, designHighPass(low, Math.SQRT1_2, sampleRateHz));
  applyBiquad(noise, designLowPass(Math.min(9000, 4 * low), Math.SQRT1_2, sampleRateHz));
  normalizeRms(noise);
  const tone = Math.sqrt(1 - s.noiseShare), hiss = Math.sqrt(s.noiseShare);
  for (let i = 0; i < out.length; i++) out[i] = tone * out[i] + hiss * noise[i];
}

/** Adds one periodic voice: harmonics of a moving fundamental below 0.92 Nyquist (and 14 kHz), shaped by formants, tilt and ripple. */
function addVoice(out: Float64Array, s: Syllable, freqHz: number, gain: number, sampleRateHz: number, random: Random): void {
  const n = out.length, step = Math.max(1, Math.round(CONTROL_SEC * sampleRateHz)), points = Math.ceil(n / step) + 2;
  const freq = new Float64Array(points);
  const wobble = random.range(0, 2 * Math.PI), drift = random.gauss() * 0.004;
  for (let p = 0; p < points; p++) {
    const x = Math.min(1, (p * step) / n);
    const vibrato = s.vibratoSemitones * Math.sin(wobble + 2 * Math.PI * s.vibratoHz * ((p * step) / sampleRateHz));
    freq[p] = freqHz * evaluateContour(s.contour, s.sweepOct, x) * Math.pow(2, vibrato / 12) * (1 + drift * x);
  }
  const baseCos = new Float64Array(n), baseSin = new Float64Array(n), turnCos = new Float64Array(n).fill(1), turnSin = new Float64Array(n);
  let angle = random.range(0, 2 * Math.PI);
  for (let i = 0; i < n; i++) {
    const p = Math.floor(i / step), frac = i / step - p;
    angle += (2 * Math.PI * (freq[p] + frac * (freq[p + 1] - freq[p]))) / sampleRateHz;
    if (angle > Math.PI) angle -= 2 * Math.PI;
    baseCos[i] = Math.cos(angle);
    baseSin[i] = Math.sin(angle);
  }
  const top = Math.min(14000, 0.46 * sampleRateHz);
  const harmonics = s.kind === 'whistle' ? 3 : Math.max(1, Math.min(40, Math.floor(top / (0.8 * freqHz))));
  const amp = new Float64Array(points);
  for (let h = 1; h <= harmonics; h++) {
    const offset = random.range(0, 2 * Math.PI), c = Math.cos(offset), d = Math.sin(offset);
    for (let p = 0; p < points; p++) amp[p] = gain * harmonicGain(s, h, h * freq[p], top);
    for (let i = 0; i < n; i++) {
      // Harmonic h is the base turned h times.
      const re = turnCos[i] * baseCos[i] - turnSin[i] * baseSin[i], im = turnCos[i] * baseSin[i] + turnSin[i] * baseCos[i];
      turnCos[i] = re; turnSin[i] = im;
      const p = Math.floor(i / step), frac = i / step - p;
      out[i] += (amp[p] + frac * (amp[p + 1] - amp[p])) * (im * c + re * d);
    }
  }
}

function harmonicGain(s: Syllable, h: number, freqHz: number, top: number): number {
  if (freqHz >= top) return 0;
  const edge = freqHz > 0.85 * top ? (top - freqHz) / (0.15 * top) : 1;
  let db = s.kind === 'whistle' ? -26 * (h - 1) : s.tiltDbPerOct * Math.log2(h);
  db += s.rippleDb[(h - 1) % s.rippleDb.length] ?? 0;
  return edge * Math.pow(10, db / 20) * (s.kind === 'whistle' ? 1 : formantGain(s.formants, freqHz));
}

/** Resonances above a floor: each raises a Lorentz-shaped band. */
export function formantGain(formants: readonly Formant[], freqHz: number): number {
  if (formants.length === 0) return 1;
  let power = 0.003;
  for (const f of formants) {
    const x = (freqHz - f.freqHz) / (f.widthHz / 2);
    power += Math.pow(10, f.gainDb / 10) / (1 + x * x);
  }
  return Math.sqrt(power);
}

function renderHarsh(out: Float64Array, s: Syllable, sampleRateHz: number, random: Random): void {
  random.fillNoise(out);
  const spread = Math.pow(2, s.bandwidthOct / 2);
  if (s.bandwidthOct < 0.5) {
    for (let k = 0; k < 2; k++) applyBiquad(out, designBandPass(s.freqHz, 1 / (spread - 1 / spread), sampleRateHz));
  } else {
    for (let k = 0; k < 2; k++) {
      applyBiquad(out, designHighPass(s.freqHz / spread, 0.8, sampleRateHz));
      applyBiquad(out, designLowPass(s.freqHz * spread, 0.8, sampleRateHz));
    }
  }
  normalizeRms(out);
  if (s.formants.length === 0) return;
  const part = new Float64Array(out.length), dry = out.slice();
  for (const f of s.formants) {
    part.set(dry);
    applyBiquad(part, designBandPass(f.freqHz, f.freqHz / f.widthHz, sampleRateHz));
    const g = Math.pow(10, f.gainDb / 20);
    for (let i = 0; i < out.length; i++) out[i] += g * part[i];
  }
}

function renderTrill(out: Float64Array, s: Syllable, sampleRateHz: number, random: Random): void {
  const period = 1 / Math.max(4, s.elementHz);
  const count = Math.max(2, Math.round(s.durationSec / period));
  for (let e = 0; e < count; e++) {
    const sec = Math.max(0.004, period * s.elementDuty * random.range(0.93, 1.07));
    const rise = Math.min(s.attackSec, sec / 3);
    const tonal = s.noiseShare < 0.5;
    const element: Syllable = { ...s, kind: tonal ? (s.freqHz > 1500 ? 'whistle' : 'stack') : 'harsh', durationSec: sec, elementHz: 0, attackSec: rise, decaySec: sec / 2.5, freqHz: s.freqHz * (1 + 0.01 * random.gauss()) };
    const samples = renderSyllable(element, sampleRateHz, random);
    const start = Math.round(e * period * sampleRateHz);
    const x = (e + 0.5) / count, g = Math.pow(Math.sin(Math.PI * Math.min(0.97, Math.max(0.08, x))), 0.5);
    for (let i = 0; i < samples.length && start + i < out.length; i++) out[start + i] += g * samples[i];
  }
}

function renderTick(out: Float64Array, s: Syllable, sampleRateHz: number, random: Random): void {
  const modes = 2 + Math.floor(s.rippleDb.length / 20);
  const decay = Math.max(0.0008, s.durationSec / 4);
  for (let m = 0; m < modes; m++) {
    const f = Math.min(0.46 * sampleRateHz, s.freqHz * Math.pow(2, (m - 0.5) * 0.4 * s.bandwidthOct));
    const g = Math.pow(10, (s.rippleDb[m % s.rippleDb.length] ?? 0) / 20), phase = random.range(0, 2 * Math.PI);
    for (let i = 0; i < out.length; i++) {
      const t = i / sampleRateHz;
      out[i] += g * Math.exp(-t / decay) * Math.sin(phase + 2 * Math.PI * f * t * evaluateContour(s.contour, s.sweepOct, Math.min(1, t / s.durationSec)));
    }
  }
  const noise = new Float64Array(out.length);
  random.fillNoise(noise);
  applyBiquad(noise, designBandPass(s.freqHz, 1, sampleRateHz));
  for (let i = 0; i < out.length; i++) out[i] += 0.5 * Math.sqrt(s.noiseShare) * noise[i] * Math.exp(-i / sampleRateHz / decay);
  const rise = Math.max(1, Math.round(0.0007 * sampleRateHz));
  for (let i = 0; i < rise && i < out.length; i++) out[i] *= i / rise;
}

function modulate(out: Float64Array, s: Syllable, sampleRateHz: number, random: Random): void {
  const phase = random.range(0, 2 * Math.PI), depth = 0.5 + 0.45 * (1 - s.elementDuty);
  for (let i = 0; i < out.length; i++) out[i] *= 1 - depth * (0.5 + 0.5 * Math.sin(phase + (2 * Math.PI * s.elementHz * i) / sampleRateHz));
}

/** Raised-cosine rise, exponential-like fall, and a slow swell of a few dB between. */
function shapeEnvelope(out: Float64Array, s: Syllable, sampleRateHz: number, random: Random): void {
  const n = out.length;
  const attack = Math.max(2, Math.min(Math.round(s.attackSec * sampleRateHz), n >> 1));
  const decay = Math.max(2, Math.min(Math.round(s.decaySec * sampleRateHz), n - attack));
  const knots = [0, 0, 0, 0, 0].map(() => random.gauss() * 2);
  for (let i = 0; i < n; i++) {
    const x = (i / n) * 4, k = Math.floor(x), w = 0.5 - 0.5 * Math.cos(Math.PI * (x - k));
    let g = Math.pow(10, (knots[k] * (1 - w) + knots[k + 1] * w) / 20);
    if (i < attack) g *= 0.5 - 0.5 * Math.cos((Math.PI * i) / attack);
    const left = n - i;
    if (left < decay) { const y = left / decay; g *= y * (0.25 + 0.75 * y); }
    out[i] *= g;
  }
}
