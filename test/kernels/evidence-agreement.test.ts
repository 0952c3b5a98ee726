import { beforeAll, describe, expect, it } from 'vitest';
import { readVoicePattern, VOICE_BINS } from '../../src/evidence/voice-pattern.js';
import { describeSound } from '../../src/evidence/describe-sound.js';
import { describeParts } from '../../src/evidence/sound-parts.js';
import { findLostFrames } from '../../src/evidence/dropouts.js';
import { estimateFloors } from '../evidence/make-stretch.js';
import { countEngineBytes, createKernelEngine } from '../../src/evidence/kernel-engine.js';
import { LagMeter } from '../../src/evidence/lags.js';
import { mapOwnership, sumOwned } from '../../src/evidence/ownership.js';
import { findPedestal } from '../../src/evidence/pedestal.js';
import { resolveSettings } from '../../src/evidence/settings.js';
import type { StretchSpectra } from '../../src/evidence/spectra.js';
import { makeNoise, openKernels } from './support.js';

const RATE = 16000;
const FRAMES = 12000;
const settings = resolveSettings(RATE);
const { bandBins: bins } = settings;

/** Noise, a call that all tracks hear 9 samples apart, a click, and receiver noise on the last track. */
function makeTracks(count: number): Float32Array[] {
  return Array.from({ length: count }, (_, j) => Float32Array.from(makeNoise(FRAMES, 70 + j), (v, i) => {
    const at = i - 4000 - 9 * j;
    const call = at > 0 && at < 1600 ? Math.sin(at * (0.7 + at / 4000)) * Math.sin((Math.PI * at) / 1600) / (1 + j) : 0;
    const click = i > 8000 && i < 8100 && j === 1 ? v : 0;
    return 0.01 * v + 0.3 * call + click + (j === count - 1 && i > 9000 && i < 11000 ? 0.5 * v : 0);
  }));
}

describe.each([3, 8])('evidence of %i tracks', (trackCount) => {
  let fast: StretchSpectra;
  let plain: StretchSpectra;
  beforeAll(async () => {
    const k = await openKernels(countEngineBytes(settings, trackCount, FRAMES));
    fast = createKernelEngine(k, settings).analyse(makeTracks(trackCount), FRAMES);
    plain = { ...fast, kernels: undefined };
  });

  it('is the same with the kernels and with plain loops', () => {
    const floors = estimateFloors(fast, Array.from({ length: 100 }, (_, t) => t));
    const lost = [plain, fast].map((s) => findLostFrames(s, floors, bins[0]));
    expect(lost[1]).toEqual(lost[0]);
    expect(lost[0][trackCount - 1].some((v) => v === 1)).toBe(true);
    const gainDb = floors.map((_, j) => j / 2);
    const [a, b] = [plain, fast].map((s) => mapOwnership(s, floors, gainDb, lost[0], bins));
    // A bin within rounding of a threshold may go either way; none is so near here.
    expect(a.owner.findIndex((o, i) => o !== b.owner[i])).toBe(-1);
    a.leadDb.forEach((v, i) => { if (!(Math.abs(v - b.leadDb[i]) < 1e-3)) expect(b.leadDb[i], `lead ${i}`).toBe(v); });
    for (let j = 0; j < trackCount; j++) {
      const level = new Float32Array(fast.frameCount).fill(j === 1 ? 3 : 9);
      const [p, q] = [plain, fast].map((s) => findPedestal(s, floors[j], j, level, bins, 4));
      p.forEach((v, t) => expect(Math.abs(q[t] / v - 1)).toBeLessThan(1e-6));
      for (const pedestal of [undefined, q.slice()]) {
        const [x, y] = [[plain, a], [fast, b]].map(([s, o]) => sumOwned(s as StretchSpectra, floors[j], (o as typeof a).owner, j, bins, pedestal));
        x.forEach((v, t) => expect(Math.abs(y[t] - v)).toBeLessThanOrEqual(1e-5 * Math.abs(v)));
      }
    }
    const set = Uint32Array.from([...a.owner.keys()].filter((i) => a.owner[i] === 0));
    expect(set.length).toBeGreaterThan(200);
    const meter = new LagMeter(settings.fftSize, RATE, settings.maxLagSec);
    const [{ readings, levels: slow }, { readings: quick, levels: sums }] = [plain, fast].map((s) => meter.measureSet(s, floors, 0, set, 20));
    for (let j = 1; j < trackCount - 1; j++) {
      expect(Math.abs(quick[j].lagSec - readings[j].lagSec)).toBeLessThan(1e-8);
      for (const key of ['agreement', 'agreementZ', 'zeroLag'] as const) expect(quick[j][key]).toBeCloseTo(readings[j][key], 4);
    }
    expect(readings[1].lagSec).toBeCloseTo(9 / RATE, 4);
    for (const key of ['low', 'high', 'noise'] as const) slow[key].forEach((v, j) => expect(Math.abs(sums[key][j] / v - 1)).toBeLessThan(1e-5));
    const [shape, quickShape] = [plain, fast].map((s) => describeSound(s, floors[0], 0, 0, fast.frameCount, set, bins, RATE / settings.fftSize));
    const { bands, voice, ...numbers } = shape;
    for (const key of Object.keys(numbers) as (keyof typeof numbers)[]) expect(Math.abs(quickShape[key] / numbers[key] - 1), key).toBeLessThan(1e-5);
    const [parts, quickParts] = [plain, fast].map((s) => describeParts(s, floors[0], 0, 90, fast.frameCount, set.filter((k) => k >= 90 * s.binCount), bins, settings.hopFrames / RATE));
    for (const key of Object.keys(parts) as (keyof typeof parts)[]) expect(quickParts[key], key).toBeCloseTo(parts[key], 5);
    expect(parts.heldTones * parts.startLikeness * parts.beforeLikeness).toBeGreaterThan(0);
    bands.forEach((v, k) => expect(quickShape.bands[k]).toBeCloseTo(v, 6));
    expect(bands.reduce((sum, v) => sum + v * v, 0)).toBeCloseTo(1, 6);
    // Patterns are whole numbers: rounding may fall to the other side.
    const [pattern, quickPattern] = [voice, quickShape.voice].map((packed) => { const out = new Int8Array(VOICE_BINS); readVoicePattern(packed, out); return out; });
    expect(Math.max(...pattern)).toBeGreaterThan(60);
    pattern.forEach((v, k) => expect(Math.abs(v - quickPattern[k])).toBeLessThanOrEqual(1));
  });

  it('is the same where rows of powers end above the band', async () => {
    // A band that ends at 5 kHz, so that there are bins above it.
    const low = resolveSettings(RATE, { bandHz: [400, 5000] });
    const k = await openKernels(2 * countEngineBytes(low, trackCount, FRAMES));
    const signals = makeTracks(trackCount);
    const whole = createKernelEngine(k, low).analyse(signals, FRAMES);
    const floors = estimateFloors(whole, Array.from({ length: 100 }, (_, t) => t));
    const short = createKernelEngine(await openKernels(countEngineBytes(low, trackCount, FRAMES)), low).analyse(signals, FRAMES, floors);
    expect(short.binCount).toBeLessThan(whole.binCount);
    const lost = [whole, short].map((s) => findLostFrames(s, floors, low.bandBins[0]));
    expect(lost[1]).toEqual(lost[0]);
    expect(lost[0][trackCount - 1].some((v) => v === 1)).toBe(true);
    const [a, b] = [whole, short].map((s) => mapOwnership(s, floors, floors.map(() => 0), lost[0], low.bandBins));
    const set: number[] = [];
    const shortSet: number[] = [];
    for (let t = 0; t < whole.frameCount; t++) {
      for (let bin = low.bandBins[0]; bin < low.bandBins[1]; bin++) {
        const [i, o] = [t * whole.binCount + bin, t * short.binCount + bin];
        if (a.owner[i] !== b.owner[o] || a.leadDb[i] !== b.leadDb[o]) expect([b.owner[o], b.leadDb[o]], `frame ${t} bin ${bin}`).toEqual([a.owner[i], a.leadDb[i]]);
        if (a.owner[i] === 0) { set.push(i); shortSet.push(o); }
      }
    }
    expect(set.length).toBeGreaterThan(200);
    const meter = new LagMeter(low.fftSize, RATE, low.maxLagSec);
    expect(meter.measureSet(short, floors, 0, Uint32Array.from(shortSet), 20)).toEqual(meter.measureSet(whole, floors, 0, Uint32Array.from(set), 20));
    const describe = (s: StretchSpectra, bins: number[]): ReturnType<typeof describeSound> => describeSound(s, floors[0], 0, 0, s.frameCount, Uint32Array.from(bins), low.bandBins, RATE / low.fftSize);
    const { highRiseDb, ...rest } = describe(whole, set);
    const { highRiseDb: shortRiseDb, ...shortRest } = describe(short, shortSet);
    expect(shortRest).toEqual(rest);
    // The same sums in another order.
    expect(Math.abs(shortRiseDb - highRiseDb)).toBeLessThan(1e-5);
  });
});
