import { beforeAll, describe, expect, it } from 'vitest';
import { computeResponse } from '../../src/kernels/filter-design.js';
import type { Kernels } from '../../src/kernels/kernels.js';
import { computeBandResponse, countSurveyBytes, designBand, SLOT_HOPS, SurveyKernels } from '../../src/kernels/survey-kernels.js';
import { createKernels } from '../../src/kernels/kernels.js';
import type { LaneRun } from '../../src/kernels/lane-records.js';
import { loadKernelsFile } from '../../src/node/kernels-file.js';
import { referenceFilter } from '../reference/lane-filter.js';
import { referenceBandHops, referenceSample } from '../reference/survey.js';
import { allocGuarded, largestDifference, makeNoise, openKernels } from './support.js';

let k: Kernels;
beforeAll(async () => { k = await openKernels(32 << 20); });

const CODINGS = { u8: [1, 1], s16: [2, 2], s24: [3, 3], s32: [4, 4], f32: [5, 4] } as const;
type Coding = keyof typeof CODINGS;

/** Random bytes, and records of four lanes over them; null = no track. */
function placeBytes(lanes: ({ coding: Coding; at: number; stride: number } | null)[], byteCount: number): { bytes: Uint8Array; records: number } {
  const ptr = k.alloc(byteCount);
  const bytes = k.u8(ptr, byteCount);
  makeNoise(byteCount, 77).forEach((v, i) => { bytes[i] = Math.floor((v + 0.5) * 256); });
  const records = k.alloc(48);
  k.i32(records, 12).fill(0);
  lanes.forEach((l, c) => { if (l) k.i32(records, 12).set([ptr + l.at, l.stride, CODINGS[l.coding][0]], 3 * c); });
  return { bytes, records };
}

describe('samples that stand still', () => {
  const layouts: [Coding, number][] = [['u8', 1], ['u8', 3], ['s16', 2], ['s16', 16], ['s16', 5], ['s24', 3], ['s24', 24], ['s32', 4], ['s32', 9], ['f32', 4], ['f32', 32]];

  it.each(layouts)('are counted as one by one, %s every %i bytes, for any length and end', (coding, stride) => {
    const size = CODINGS[coding][1], mark = k.mark(), most = 67;
    const start = k.alloc(most * stride + 16) + 1, bytes = k.u8(start, most * stride + 8);
    for (const lead of [0, 1, 2, 3, 4, 5, 7, 8, 9, 31, 66]) {
      // Bytes between the samples and after the stretch may be anything.
      makeNoise(bytes.length, 5 + lead).forEach((v, i) => { bytes[i] = Math.floor((v + 0.5) * 256); });
      const first = bytes.slice(0, size);
      if (coding === 'f32') first[3] = 0x3e;
      for (let i = 0; i <= lead; i++) bytes.set(first, i * stride);
      for (let part = 0; part < size && lead + 1 < most; part++) {
        bytes.set(first, (lead + 1) * stride);
        bytes[(lead + 1) * stride + part] ^= 1;
        for (let count = 1; count <= most; count++) {
          let plain = 1;
          while (plain < count && referenceSample(bytes, plain * stride, coding) === referenceSample(bytes, 0, coding)) plain++;
          expect(k.fn.countSame(start, stride, CODINGS[coding][0], count), `lead ${lead} part ${part} count ${count}`).toBe(plain);
          if (count <= lead + 1) expect(plain).toBe(count);
        }
      }
    }
    k.release(mark);
  });

  it('are zeros of either sign, and never what is no number', () => {
    const mark = k.mark(), at = k.allocF32(4), x = k.f32(at, 4);
    x.set([0, -0, 0, 1]);
    expect(k.fn.countSame(at, 4, 5, 4)).toBe(3);
    x.fill(NaN);
    expect(k.fn.countSame(at, 4, 5, 4)).toBe(1);
    k.release(mark);
  });
});

describe('lanes from bytes', () => {
  const layouts: [string, ({ coding: Coding; at: number; stride: number } | null)[]][] = [
    ['four neighbours of eight 16-bit channels', [0, 1, 2, 3].map((c) => ({ coding: 's16', at: 2 * c + 8, stride: 16 }))],
    ['four 16-bit rows', [0, 1, 2, 3].map((c) => ({ coding: 's16', at: 201 * c + 1, stride: 2 }))],
    ['16-bit channels in another order', [3, 1, 0, 2].map((c) => ({ coding: 's16', at: 2 * c, stride: 8 }))],
    ['24-bit channels', [0, 1, 2, 3].map((c) => ({ coding: 's24', at: 3 * c, stride: 12 }))],
    ['all kinds, one lane empty', [{ coding: 'u8', at: 5, stride: 3 }, null, { coding: 's32', at: 3, stride: 9 }, { coding: 'f32', at: 2, stride: 5 }]],
  ];
  it.each(layouts)('are the values of %s, for any length', (_, lanes) => {
    for (const count of [1, 2, 3, 4, 5, 7, 8, 63, 64, 67]) {
      const mark = k.mark();
      const { bytes, records } = placeBytes(lanes, 1200);
      const out = allocGuarded(k, 4 * count);
      k.fn.lanesFromPcm(records, count, out.ptr);
      for (let i = 0; i < count; i++) {
        lanes.forEach((l, c) => expect(out.values[4 * i + c], `frame ${i} lane ${c}`).toBe(l ? Math.fround(referenceSample(bytes, l.at + i * l.stride, l.coding)) : 0));
      }
      out.expectIntact();
      k.release(mark);
    }
  });

  it('reads NaN, infinities and denormals of 32-bit floats as silence', () => {
    const mark = k.mark();
    const source = k.allocF32(6);
    k.f32(source, 6).set([NaN, Infinity, -Infinity, 1e-40, 0.25, -1e-31]);
    const records = k.alloc(48);
    k.i32(records, 12).fill(0).set([source, 4, 5]);
    const lanes = k.allocF32(24);
    k.fn.lanesFromPcm(records, 6, lanes);
    expect(Array.from(k.f32(lanes, 24).filter((_, i) => i % 4 === 0))).toEqual([0, 0, 0, 0, 0.25, 0]);
    k.release(mark);
  });
});

describe('the band filter', () => {
  it.each([[400, 11000, 48000], [1000, 8000, 22050], [400, 11000, 250000]])('is flat in %i to %i Hz at %i Hz, and its response at the bins is that of its sections', (low, high, rate) => {
    const f = designBand([low, high], rate);
    const sos = [f[0], -2 * f[0], f[0], f[1], f[2], f[3], 2 * f[3], f[3], f[4], f[5]];
    const response = computeBandResponse(f, 512);
    for (const bin of [1, 3, 10, 50, 100, 200, 255]) {
      // The numerator's double zero at the ends leaves cancellation there: compared in power.
      expect(Math.abs(response[bin] - 10 ** (computeResponse(sos, (bin * rate) / 512, rate).gainDb / 10))).toBeLessThan(1e-9);
    }
    // Butterworth, 3.01 dB at 0.8 of the lower and 1.2 of the upper edge: at the edges themselves less than 1.8 dB of loss.
    for (const edge of [low, Math.min(high, 0.39 * rate)]) expect(computeResponse(sos, edge, rate).gainDb).toBeGreaterThan(-1.8);
    expect(computeResponse(sos, low / 10, rate).gainDb).toBeLessThan(-35);
  });
});

describe('a survey in the kernels', () => {
  const shape = { fftSize: 64, hopFrames: 16, trackCount: 5, mostSlots: 40, rowEvery: 2, sampleRateHz: 8000, bandHz: [500, 3000] as const };
  const SLOT = SLOT_HOPS * 16;
  const open = async (): Promise<SurveyKernels> => new SurveyKernels(createKernels(await loadKernelsFile(), countSurveyBytes(shape)), shape);

  /** Puts tracks as 32-bit rows into a buffer; every track a little apart. */
  function fill(s: SurveyKernels, buffer: 0 | 1, tracks: Float32Array[], from: number, count: number, missing?: [track: number, from: number, to: number]): LaneRun[] {
    const runs: LaneRun[] = [];
    tracks.forEach((x, trackIndex) => {
      const byteOffset = trackIndex * (4 * count + 64);
      new Float32Array(s.buffers[buffer].buffer, s.buffers[buffer].byteOffset + byteOffset, count).set(x.subarray(from, from + count));
      const run = (a: number, b: number): void => { if (b > a) runs.push({ trackIndex, offset: a, frameCount: b - a, byteOffset: byteOffset + 4 * a, strideBytes: 4, coding: 'f32' }); };
      if (missing?.[0] === trackIndex) { run(0, missing[1]); run(missing[2], count); } else run(0, count);
    });
    return runs;
  }

  it.each([40, 13, 1])('gives the energies of the plain filter, in chunks of %i slots', async (chunk) => {
    const s = await open();
    const tracks = Array.from({ length: 5 }, (_, j) => Float32Array.from(makeNoise(41 * SLOT, 5 + j)));
    s.start();
    for (let slot = 0, n = 0; slot < 41; slot += chunk, n++) s.take((n % 2) as 0 | 1, fill(s, (n % 2) as 0 | 1, tracks, slot * SLOT, Math.min(chunk, 41 - slot) * SLOT), Math.min(chunk, 41 - slot));
    const design = designBand(shape.bandHz, shape.sampleRateHz);
    const got = s.readEnergies();
    expect(got.length).toBe(40 * SLOT_HOPS * 8);
    tracks.forEach((x, j) => {
      const want = referenceBandHops(x, design, 16).subarray(SLOT_HOPS);
      // f32 through four recursions: some tens of roundings of 2^-24 of a value near 0.05.
      expect(largestDifference(got.filter((_, i) => i % 8 === j), want)).toBeLessThan(1e-6);
    });
    expect(s.rowCount).toBe(20);
  });

  it.each([40, 13, 1])('passes all tracks through a filter first, in chunks of %i slots, and none the next time', async (chunk) => {
    const taps = Float32Array.from([1, -0.9, 0.4, 0.2, 0, -0.3, 0.1, 0.05]), filtered = { ...shape, tapCount: taps.length };
    const s = new SurveyKernels(createKernels(await loadKernelsFile(), countSurveyBytes(filtered)), filtered);
    const tracks = Array.from({ length: 5 }, (_, j) => Float32Array.from(makeNoise(41 * SLOT, 5 + j)));
    const design = designBand(shape.bandHz, shape.sampleRateHz);
    for (const isFiltered of [true, false, true]) {
      s.start(isFiltered ? taps : undefined);
      for (let slot = 0, n = 0; slot < 41; slot += chunk, n++) s.take((n % 2) as 0 | 1, fill(s, (n % 2) as 0 | 1, tracks, slot * SLOT, Math.min(chunk, 41 - slot) * SLOT), Math.min(chunk, 41 - slot));
      const got = s.readEnergies();
      tracks.forEach((x, j) => {
        const want = referenceBandHops(isFiltered ? referenceFilter(x, taps) : x, design, 16).subarray(SLOT_HOPS);
        // As above; the filter makes values up to three times as large.
        expect(largestDifference(got.filter((_, i) => i % 8 === j), want)).toBeLessThan(1e-5);
      });
    }
  });

  it('takes what no run covers for silence, and stays out of denormals after sound', async () => {
    const s = await open();
    const tracks = Array.from({ length: 5 }, (_, j) => Float32Array.from(makeNoise(41 * SLOT, 5 + j)));
    s.start();
    s.take(0, fill(s, 0, tracks, 0, 41 * SLOT, [1, 3 * SLOT + 5, 41 * SLOT - 3]), 41);
    const cut = tracks[1].map((v, i) => (i >= 3 * SLOT + 5 && i < 41 * SLOT - 3 ? 0 : v));
    const want = referenceBandHops(cut, designBand(shape.bandHz, shape.sampleRateHz), 16).subarray(SLOT_HOPS);
    const got = s.readEnergies().filter((_, i) => i % 8 === 1);
    expect(largestDifference(got, want)).toBeLessThan(1e-6);
    // Thirty slots of silence after sound: exactly nothing, so nothing lingers below what a float can hold well.
    expect(got.subarray(10 * SLOT_HOPS, 39 * SLOT_HOPS).every((v) => v === 0)).toBe(true);
    expect(s.findSounding(10).slice(0, 2)).toEqual([true, false]);
  });

  it.each([[undefined], [Float32Array.from([1, -0.5, 0.2, 0.1])]])('passes over silence to the same bits, in whatever chunks (filter: %s)', async (taps) => {
    const filtered = { ...shape, tapCount: 4 }, s = new SurveyKernels(createKernels(await loadKernelsFile(), countSurveyBytes(filtered)), filtered);
    const noise = Array.from({ length: 5 }, (_, j) => Float32Array.from(makeNoise(41 * SLOT, 5 + j)));
    // Sound in the first slots, one sample late on one track, silence else.
    const tracks = noise.map((x, j) => x.map((v, i) => (i < 4.5 * SLOT || (j === 2 && i === 33 * SLOT + 7) ? v : 0)));
    const survey = (source: Float32Array[], chunk: number, isGap: boolean): { energies: Float32Array; rows: Float32Array; sounding: boolean[][]; isSilent: boolean } => {
      s.start(taps);
      for (let slot = 0; slot < 41; slot += chunk) {
        const count = Math.min(chunk, 41 - slot), runs = fill(s, 0, source, slot * SLOT, count * SLOT);
        s.take(0, isGap ? runs.filter((r) => source[r.trackIndex].subarray(slot * SLOT, (slot + count) * SLOT).some((v) => v !== 0)) : runs, count);
      }
      const sounding = Array.from({ length: s.rowCount }, (_, row) => s.findSounding(row));
      return { energies: s.readEnergies().slice(), rows: s.findQuantiles([19, 19, 19, 19, 19]).slice(), sounding, isSilent: s.isSilent };
    };
    // One chunk is never silent: all goes through the kernels.
    const whole = survey(tracks, 41, false);
    expect(whole.isSilent).toBe(false);
    expect(whole.energies.some((v) => v > 0)).toBe(true);
    for (const [chunk, isGap] of [[1, false], [3, false], [8, false], [1, true], [9, true]] as const) {
      survey(noise, 41, false);
      expect(survey(tracks, chunk, isGap), `${chunk} ${isGap}`).toEqual(whole);
    }
    survey(noise, 41, false);
    const nothing = survey(tracks.map((x) => x.map(() => 0)), 5, false);
    expect([nothing.isSilent, nothing.energies.every((v) => v === 0), nothing.sounding.flat().some(Boolean)]).toEqual([true, true, false]);
  });

  it('finds order statistics over rows to 2^-12, leaving out what is to be left out', async () => {
    const s = await open();
    const tracks = Array.from({ length: 5 }, (_, j) => Float32Array.from(makeNoise(41 * SLOT, 31 + j)));
    s.start();
    s.take(0, fill(s, 0, tracks, 0, 41 * SLOT), 41);
    const power = (row: number, track: number, bin: number): number => {
      let re = 0; let im = 0; let square = 0;
      for (let i = 0; i < 64; i++) {
        const w = 0.5 - 0.5 * Math.cos((2 * Math.PI * i) / 64);
        const x = w * tracks[track][(1 + 2 * row) * SLOT + (SLOT - 64) / 2 + i];
        re += x * Math.cos((2 * Math.PI * i * bin) / 64); im -= x * Math.sin((2 * Math.PI * i * bin) / 64); square += w * w;
      }
      return (re * re + im * im) / square;
    };
    for (const [rank, out] of [[0, []], [4, []], [19, []], [4, [0, 7, 8, 19]]] as [number, number[]][]) {
      for (const row of out) s.leaveOut(row, 2);
      const found = s.findQuantiles([rank, rank, rank, rank, rank]);
      for (const bin of [0, 1, 17, 32]) {
        const sorted = Array.from({ length: 20 }, (_, row) => row).filter((row) => !out.includes(row)).map((row) => power(row, 2, bin)).sort((a, b) => a - b);
        // 2^-12 of the bisection and some roundings of the transform.
        expect(Math.abs(found[bin * 8 + 2] - sorted[rank])).toBeLessThanOrEqual(2.5e-4 * sorted[rank] + 1e-9);
      }
    }
  });
});
