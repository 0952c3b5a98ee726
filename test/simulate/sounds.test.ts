import { describe, expect, it } from 'vitest';
import { Fft, getFft } from '../../src/simulate/fft.js';
import { findLabelEdges, LABEL_EDGE_DB } from '../../src/simulate/label-edges.js';
import { renderKnock } from '../../src/simulate/knock.js';
import { Random } from '../../src/simulate/random.js';
import { planRoomNoise } from '../../src/simulate/room-noise.js';
import { drawPart } from '../../src/simulate/random-voice.js';
import { drawRepertoire, renderCall, resampleBy } from '../../src/simulate/repertoire.js';
import { parseScene } from '../../src/simulate/parse-scene.js';
import type { SyllableKind } from '../../src/simulate/scene.js';
import { makeQuietScene } from './support.js';

const FS = 44100;

describe('transform', () => {
  it('agrees with the defining sum and comes back', () => {
    const n = 64, random = new Random(1), re = new Float64Array(n), im = new Float64Array(n);
    for (let i = 0; i < n; i++) { re[i] = random.gauss(); im[i] = random.gauss(); }
    const a = re.slice(), b = im.slice();
    getFft(n).forward(a, b);
    for (let k = 0; k < n; k++) {
      let x = 0, y = 0;
      for (let i = 0; i < n; i++) { const w = (-2 * Math.PI * i * k) / n; x += re[i] * Math.cos(w) - im[i] * Math.sin(w); y += re[i] * Math.sin(w) + im[i] * Math.cos(w); }
      expect(Math.abs(a[k] - x) + Math.abs(b[k] - y)).toBeLessThan(1e-12 * n);
    }
    getFft(n).inverse(a, b);
    for (let i = 0; i < n; i++) expect(Math.abs(a[i] - re[i]) + Math.abs(b[i] - im[i])).toBeLessThan(1e-13 * n);
  });

  it('refuses odd sizes', () => { expect(() => new Fft(12)).toThrow(/power of two/); });
});

describe('random numbers', () => {
  it('are uniform and normal within four standard errors', () => {
    const random = new Random(7), n = 200000, noise = new Float64Array(n);
    let mean = 0;
    for (let i = 0; i < n; i++) mean += random.next() / n;
    expect(Math.abs(mean - 0.5)).toBeLessThan(4 * Math.sqrt(1 / 12 / n));
    random.fillNoise(noise);
    let m1 = 0, m2 = 0, m4 = 0, lag = 0;
    noise.forEach((v, i) => { m1 += v / n; m2 += (v * v) / n; m4 += v ** 4 / n; if (i > 0) lag += (v * noise[i - 1]) / n; });
    expect(Math.abs(m1)).toBeLessThan(4 / Math.sqrt(n));
    expect(Math.abs(m2 - 1)).toBeLessThan(4 * Math.sqrt(2 / n));
    // Fourth moment of a normal variable: 3, variance 96; the table ends at four standard deviations and loses a little of it.
    expect(Math.abs(m4 - 3)).toBeLessThan(4 * Math.sqrt(96 / n) + 0.03);
    expect(Math.abs(lag)).toBeLessThan(4 / Math.sqrt(n));
  });

  it('gives unlike streams for unlike labels', () => {
    expect(new Random(1).fork('a').uint32()).not.toBe(new Random(1).fork('b').uint32());
    expect(new Random(1).fork('a').uint32()).toBe(new Random(1).fork('a').uint32());
  });
});

describe('label edges', () => {
  it('of a tone burst with sharp ends lie where the window has climbed to the edge level', () => {
    const x = new Float64Array(Math.round(0.2 * FS)), from = Math.round(0.05 * FS), to = Math.round(0.15 * FS);
    for (let i = from; i < to; i++) x[i] = Math.sin((2 * Math.PI * 2000 * i) / FS);
    const { startFrame, endFrame } = findLabelEdges(x, FS);
    // A Hann window of 10 ms holds a share u - sin(2 pi u)/(2 pi) of its power in its first u; that is 10^-2 at u = 0.1165.
    const u = 0.1165, early = (0.5 - u) * 0.01 * FS;
    expect(u - Math.sin(2 * Math.PI * u) / (2 * Math.PI)).toBeCloseTo(Math.pow(10, -LABEL_EDGE_DB / 10), 3);
    expect(Math.abs(startFrame - (from - early))).toBeLessThan(12);
    expect(Math.abs(endFrame - (to + early))).toBeLessThan(12);
  });

  it('of an exponential end lie LABEL_EDGE_DB below the peak', () => {
    const x = new Float64Array(FS), rate = Math.LN10 / 20 / 0.002; // 1 dB each 2 ms
    for (let i = 0; i < FS; i++) x[i] = Math.sin((2 * Math.PI * 3000 * i) / FS) * (i < FS / 4 ? 1 : Math.exp((-rate * (i - FS / 4)) / FS));
    const { endFrame } = findLabelEdges(x, FS);
    // Smoothing a decay of 0.5 dB/ms with a 10 ms window shifts it by less than 1 ms.
    expect(Math.abs(endFrame / FS - (0.25 + 0.04))).toBeLessThan(0.001);
  });
});

describe('voices', () => {
  const kinds: SyllableKind[] = ['stack', 'whistle', 'trill', 'harsh', 'tick', 'double'];
  const make = (kind: SyllableKind, freqHz: number, extra = {}) => parseScene(makeQuietScene({
    voices: { v: { calls: [{ kind, name: kind, freqHz, durationSec: [0.1, 0.1], contour: 'flat', sweepOct: 0, noiseShare: 0.001, elementHz: kind === 'trill' ? 25 : 0, ...extra }], individuality: 0.2 } },
    calls: undefined,
  } as never)).voices.v;

  it.each(kinds)('%s: finite, unit power, about as long as told', (kind) => {
    const repertoire = drawRepertoire(make(kind, 2000), new Random(3));
    const x = renderCall(repertoire, 0, { pitch: 1, stretch: 1 }, FS, new Random(4), {});
    expect(x.every(Number.isFinite)).toBe(true);
    expect(x.reduce((a, v) => a + v * v, 0) / x.length).toBeCloseTo(1, 6);
    expect(x.length / FS).toBeGreaterThan(0.07);
    expect(x.length / FS).toBeLessThan(0.14);
  });

  it('a stack repeats with its fundamental', () => {
    const repertoire = drawRepertoire({ ...make('stack', 600), individuality: 0 }, new Random(1));
    const x = renderCall(repertoire, 0, { pitch: 1, stretch: 1 }, FS, new Random(2), {});
    let best = 0, bestLag = 0;
    for (let lag = 50; lag < 110; lag++) { let c = 0; for (let i = 800; i < 3000; i++) c += x[i] * x[i + lag]; if (c > best) { best = c; bestLag = lag; } }
    // The pitch of a call varies by 0.03 octaves (standard deviation): three of them are 6.4 %.
    expect(Math.abs(FS / bestLag / 600 - 1)).toBeLessThan(0.064 + 0.02);
  });

  it('parts stand before and after the rest at their levels, with their silence between; the rest is as it is without them', () => {
    const part = { kind: 'whistle', durationSec: [0.05, 0.05], levelDb: [-12, -12], freqHz: 5000, contour: 'flat', sweepOct: 0, gapSec: [0.01, 0.01] };
    const render = (extra = {}) => renderCall({ ...drawRepertoire({ ...make('stack', 600, extra), individuality: 0 }, new Random(1)) }, 0, { pitch: 1, stretch: 1 }, FS, new Random(2), {});
    const alone = render(), lead = render({ lead: part }), both = render({ lead: part, tail: { ...part, levelDb: [0, 0], kind: 'harsh' } });
    const partLength = 0.05 * FS, silence = 0.01 * FS;
    expect(lead.length).toBe(alone.length + partLength + silence);
    expect(both.length).toBe(alone.length + 2 * (partLength + silence));
    const rms = (x: Float64Array): number => Math.sqrt(x.reduce((a, v) => a + v * v, 0) / x.length);
    for (const x of [lead, both]) {
      expect(rms(x)).toBeCloseTo(1, 9);
      const rest = x.subarray(partLength + silence, partLength + silence + alone.length), scale = rms(rest);
      rest.forEach((v, i) => expect(v / scale).toBeCloseTo(alone[i], 9));
      expect(20 * Math.log10(rms(x.subarray(0, partLength)) / scale)).toBeCloseTo(-12, 6);
      expect(rms(x.subarray(partLength, partLength + silence))).toBe(0);
    }
    const tail = both.subarray(both.length - partLength), scale = rms(both.subarray(partLength + silence, partLength + silence + alone.length));
    expect(20 * Math.log10(rms(tail) / scale)).toBeCloseTo(0, 6);
    expect(rms(both.subarray(both.length - partLength - silence, both.length - partLength))).toBe(0);
  });

  it('recorded calls have no drawn parts', () => {
    expect(() => make('samples' as never, 600, { samples: ['a'], lead: { kind: 'stack' } })).toThrow(/a recorded call has no drawn parts/);
  });

  it('parts are drawn of any kind and level, within what a scene may hold', () => {
    const random = new Random(5), call = make('stack', 600).calls[0], parts = Array.from({ length: 200 }, () => drawPart(random, call));
    for (const lead of parts) expect(make('stack', 600, { lead }).calls[0].lead).toEqual(lead);
    expect(new Set(parts.map((p) => p.kind))).toEqual(new Set(['stack', 'double', 'whistle', 'harsh', 'trill']));
    expect(Math.min(...parts.map((p) => p.levelDb[0]))).toBeLessThan(-15);
    expect(Math.max(...parts.map((p) => p.levelDb[1]))).toBeGreaterThan(3);
  });

  it('a bird keeps its signature and another bird has its own', () => {
    const voice = make('stack', 600), a = drawRepertoire(voice, new Random(1).fork('a')), again = drawRepertoire(voice, new Random(1).fork('a')), b = drawRepertoire(voice, new Random(1).fork('b'));
    expect(again).toEqual(a);
    expect(b.calls[0].freqHz).not.toBe(a.calls[0].freqHz);
    expect(Math.abs(Math.log2(b.calls[0].freqHz / a.calls[0].freqHz))).toBeLessThan(0.3);
  });

  it('recorded samples keep their pitch at another sample rate', () => {
    const x = new Float32Array(4410);
    for (let i = 0; i < x.length; i++) x[i] = Math.sin((2 * Math.PI * 1000 * i) / 22050);
    const y = resampleBy(x, 22050 / 48000);
    for (let i = 2000; i < 6000; i += 7) expect(Math.abs(y[i] - Math.sin((2 * Math.PI * 1000 * i) / 48000))).toBeLessThan(0.02);
  });
});

describe('struck things', () => {
  const energyOf = (x: Float64Array, from: number, to: number): number => x.subarray(Math.round(from * x.length), Math.round(to * x.length)).reduce((sum, v) => sum + v * v, 0);

  it('begin at once and fade, but for those that are rubbed: one in five', () => {
    const knocks = Array.from({ length: 300 }, (_, seed) => renderKnock(new Float64Array(0.4 * FS), FS, new Random(seed)));
    for (const x of knocks) expect(x.every(Number.isFinite) && energyOf(x, 0, 1) > 0).toBe(true);
    const fading = knocks.filter((x) => energyOf(x, 0, 0.1) > 3 * energyOf(x, 0.9, 1)).length / knocks.length;
    // Four in five are struck; three standard errors of that share are .07. Of the rubbed, some swell at the beginning.
    expect(fading).toBeGreaterThan(0.73);
    expect(fading).toBeLessThan(0.95);
  });

  it('sound as often as the scene says, and not unless it says so', () => {
    const plan = (knockPerMin?: number) => planRoomNoise(parseScene(makeQuietScene({ durationSec: 120, roomNoise: { cagePerMin: 0, knockPerMin } })), new Random(3));
    expect(plan()).toEqual([]);
    const events = plan(30);
    // 60 are expected; Poisson scatter is 8.
    expect(Math.abs(events.length - 60)).toBeLessThan(4 * Math.sqrt(60));
    for (const e of events) {
      expect(e.kind).toBe('knock');
      expect(energyOf(e.samples, 0, 1) / e.samples.length).toBeCloseTo(1, 9);
    }
  });
});
