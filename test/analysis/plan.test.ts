import { readFileSync } from 'node:fs';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { computeBatteryLife, planBatteries } from '../../src/analysis/plan/battery-plan.js';
import { computeCarsonBandwidth, findProductHits, findSpacingFaults, listThirdOrderProducts } from '../../src/analysis/plan/carrier-products.js';
import { formatPlan, formatPlanFiles, PLAN_CAUTIONS } from '../../src/analysis/plan/format-plan.js';
import { makePlan } from '../../src/analysis/plan/make-plan.js';
import { proposeCarriers } from '../../src/analysis/plan/propose-carriers.js';
import { parsePlan } from '../../src/analysis/plan/read-plan.js';
import type { TagPlanFile } from '../../src/analysis/plan/read-plan.js';
import { planStorage } from '../../src/analysis/plan/storage-plan.js';

const example = readFileSync(fileURLToPath(new URL('../../fixtures/plans/four-finches.json', import.meta.url)), 'utf8');
const change = (edit: (plan: TagPlanFile) => void): string => {
  const plan = JSON.parse(example) as TagPlanFile;
  edit(plan);
  return JSON.stringify(plan);
};

describe('carriers', () => {
  // Carson (1922): 2 (deviation + audio), closed form; 75 and 15 kHz is broadcast FM.
  it.each([[5, 3, 16], [75, 15, 180], [2.5, 3, 11], [10, 8, 36], [25, 10, 70]])('deviation %f and audio %f kHz take %f kHz', (deviation, audio, bandwidth) => {
    expect(computeCarsonBandwidth(deviation, audio)).toBe(bandwidth);
  });

  // Babcock (1953) and combinatorics: n (n - 1) products of two tones, n (n - 1)(n - 2) / 2 of three.
  it('have as many third-order products as combinatorics says', () => {
    for (const n of [2, 3, 4, 7]) {
      const all = listThirdOrderProducts(Array.from({ length: n }, (_, i) => 100 + i * i * i));
      const twoTone = all.filter((p) => p.first === p.second).length;
      expect([twoTone, all.length - twoTone]).toEqual([n * (n - 1), (n * (n - 1) * (n - 2)) / 2]);
    }
    expect(listThirdOrderProducts([150_000_000, 150_100_000]).map((p) => p.freqHz)).toEqual([149_900_000, 150_200_000]);
  });

  // Counted by hand: carriers 1, 2, 3, 4 have 4 hits of two tones and 6 of three.
  it('that are equally spaced hit each other', () => {
    const hits = findProductHits([1, 2, 3, 4], 0.5);
    expect([hits.filter((h) => h.first === h.second).length, hits.filter((h) => h.first !== h.second).length]).toEqual([4, 6]);
  });

  // Golomb rulers (Babcock 1953): every distance occurs once, so no product falls on a carrier.
  it.each([[[1, 2, 4]], [[1, 2, 5, 7]], [[1, 2, 5, 10, 12]], [[1, 2, 5, 11, 13, 18]]])('of the ruler %o are free', (ruler) => {
    expect(findProductHits(ruler, 0.5)).toEqual([]);
  });

  it('count a product at the very edge of half a bandwidth, and none beyond', () => {
    // 2 x 1000 - 800 = 1200, 6 away from 1206.
    const at = (width: number): number => findProductHits([800, 1000, 1206], width).filter((h) => h.first === h.second && h.freqHz === 1200).length;
    expect([at(12), at(11.9)]).toEqual([1, 0]);
    expect(findSpacingFaults([800, 812, 830], 12)).toEqual([]);
    expect(findSpacingFaults([800, 812, 830], 12.5)).toEqual([{ first: 0, second: 1, spacingHz: 12 }]);
  });
});

describe('a proposal', () => {
  const onRuler = (count: number, span: number) => proposeCarriers({ count, lowHz: 9.5, highHz: 10.5 + span, rasterHz: 1, bandwidthHz: 1 });

  // Shortest spans of such rulers: 3, 6, 11, 17 for 3 to 6 marks (Babcock 1953; found again by exhaustive search). A bandwidth of one step
  // asks for more than that: distances must differ by more than half a step, which on a raster is the same.
  it.each([[3, 3], [4, 6], [5, 11], [6, 17]])('of %i carriers needs a span of %i steps', (count, span) => {
    const found = onRuler(count, span);
    expect(found.outcome).toBe('found');
    expect(found.carriersHz).toHaveLength(count);
    expect(onRuler(count, span - 1)).toMatchObject({ outcome: 'impossible', carriersHz: [], mostPlaced: count - 1 });
  });

  it('keeps to band and raster, is free, and goes with what is settled', () => {
    const settledHz = [433_100_000, 433_500_000], bandwidthHz = 36_000;
    const { carriersHz, outcome } = proposeCarriers({ count: 6, lowHz: 433_000_000, highHz: 435_000_000, rasterHz: 12_500, bandwidthHz, settledHz });
    expect(outcome).toBe('found');
    for (const f of carriersHz) expect([f % 12_500, f >= 433_018_000, f <= 434_982_000]).toEqual([0, true, true]);
    const all = [...settledHz, ...carriersHz];
    expect([new Set(all).size, findProductHits(all, bandwidthHz), findSpacingFaults(all, bandwidthHz)]).toEqual([8, [], []]);
    expect(carriersHz.toSorted((a, b) => a - b)).toEqual(carriersHz);
  });

  it('says when it gave up, and when settled carriers clash', () => {
    expect(proposeCarriers({ count: 12, lowHz: 0, highHz: 90, rasterHz: 1, bandwidthHz: 1, mostTries: 500 })).toMatchObject({ outcome: 'gave-up', carriersHz: [] });
    expect(proposeCarriers({ count: 1, lowHz: 0, highHz: 90, rasterHz: 1, bandwidthHz: 1, settledHz: [10, 20, 30] }).outcome).toBe('impossible');
  });
});

describe('batteries', () => {
  // Capacity over current; nominal capacities of button cells as vendors' tables give them (common practice).
  it.each([[16, 0.5, 32], [28, 1.2, 23.333], [90, 1.5, 60]])('of %f mAh at %f mA last %f h', (capacity, current, hours) => {
    expect(computeBatteryLife(capacity, current)).toBeCloseTo(hours, 3);
  });

  const plan = (more: object) => planBatteries({ capacityMah: 160, currentMa: 1, usableShare: 0.8, days: 14, daysAfterFitting: 3, daysAfterBattery: 1, ...more });

  it('are changed at the same hour, and days left out are counted once', () => {
    // 128 h are 5.33 days: changes on days 5 and 10; 3 + 1 + 1 days lost.
    expect(plan({})).toMatchObject({ changeEveryDays: 5, changes: 2, excludedDays: 5, usableDays: 9 });
    expect(plan({}).schedule).toEqual([
      { day: 0, what: 'fitted', usableFromDay: 3 }, { day: 5, what: 'battery', usableFromDay: 6 }, { day: 10, what: 'battery', usableFromDay: 11 }, { day: 14, what: 'removed', usableFromDay: 14 },
    ]);
    // Changes on days 2, 4, ..., 12: that of day 2 lies within the days after fitting.
    expect(plan({ capacityMah: 72 })).toMatchObject({ changeEveryDays: 2, changes: 6, excludedDays: 3 + 5, usableDays: 6 });
    // A cell that lasts exactly to the end is not changed there; one that ends a little earlier is.
    expect(plan({ usableShare: 1, capacityMah: 7 * 24 }).changes).toBe(1);
    expect(plan({ usableShare: 1, capacityMah: 14 * 24 }).changes).toBe(0);
    // Half a day of life and a day left out each time leave nothing.
    expect(plan({ capacityMah: 15 })).toMatchObject({ changeEveryDays: 0.5, changes: 27, usableDays: 0 });
    expect(() => plan({ capacityMah: 1e-6 })).toThrow(/lasts too short/);
  });
});

it('storage is tracks x rate x bytes x time, and a WAVE file ends at 4 GiB', () => {
  // 4 x 24000 x 2 x 86400 = 16 588 800 000 bytes a day.
  const s = planStorage({ tracks: 4, tracksPerFile: 4, sampleRateHz: 24000, bits: 16, days: 14, hoursPerDay: 24 });
  expect([s.bytesPerDay, s.bytes]).toEqual([16_588_800_000, 232_243_200_000]);
  expect(s.hoursPerWaveFile).toBeCloseTo(2 ** 32 / 192_000 / 3600, 6);
});

describe('a plan', () => {
  it('of the example has nothing to mend', () => {
    const plan = makePlan(parsePlan(example, 'plan.json'));
    expect(plan.faults).toEqual([]);
    expect(plan.radio!.carriers.every((c) => c.origin === 'proposed')).toBe(true);
    expect(plan.load.map((r) => r.verdict)).toEqual(['within guideline', 'above guideline', 'within guideline', 'within guideline']);
    const text = formatPlan(plan);
    for (const caution of PLAN_CAUTIONS) expect(text).toContain(caution);
    expect(text).not.toMatch(/\bsafe/i);
    expect(text).toContain('9 usable');
    expect(formatPlanFiles(plan)['plan-schedule.csv']).toBe('day,what,usable_from_day\n0.0000,fitted,3.0000\n5.0000,battery,6.0000\n10.0000,battery,11.0000\n14.0000,removed,14.0000\n');
  });

  // Tag mass: 3 % and 5 % of 12, 15 and 18 g (common practice, no source).
  it.each([[12, 0.36, 0.6], [15, 0.45, 0.75], [18, 0.54, 0.9]])('of a bird of %f g has its guidelines at %f and %f g', (mass, low, high) => {
    const judge = (tag: number) => makePlan(parsePlan(change((p) => { p.birds = [{ name: 'red', mass_g: mass, tag_g: tag }]; }), 'p')).load[0];
    expect(judge(low).guidelineG).toBeCloseTo(low, 12);
    expect(judge(low).limitG).toBeCloseTo(high, 12);
    expect([low, low + 0.001, high, high + 0.001].map((tag) => judge(tag).verdict)).toEqual(['within guideline', 'above guideline', 'above guideline', 'above limit']);
  });

  it('with settled carriers that clash names the clashes and a free set', () => {
    const plan = makePlan(parsePlan(change((p) => p.birds.forEach((b, i) => { b.carrier_mhz = 300.2 + 0.1 * i; })), 'p'));
    expect(plan.radio!.products).toHaveLength(10);
    expect(plan.radio!.products[0]).toEqual({ formula: '2 x blue - red', freqHz: 300_400_000, bird: 'green', distanceHz: 0 });
    expect(plan.faults).toEqual(['10 third-order products on carriers in use']);
    expect(plan.radio!.instead).toMatchObject({ outcome: 'found' });
    expect(formatPlan(plan)).toContain('a free set for all: ');
  });

  it('without room says so', () => {
    const plan = makePlan(parsePlan(change((p) => { p.radio!.band_mhz = [300, 300.15]; }), 'p'));
    expect(plan.faults.join()).toContain('no free set of carriers exists');
    expect(plan.radio!.carriers.every((c) => c.origin === 'none')).toBe(true);
  });

  it('with too few samples per second for its audio says so', () => {
    expect(makePlan(parsePlan(change((p) => { p.recording!.sample_rate_hz = 12000; }), 'p')).faults).toEqual(['12000 samples per second cannot hold audio up to 8 kHz: at least 16000 are needed']);
  });

  it.each<[string, RegExp]>([
    ['{"volary_plan":1,', /"p": is not JSON; got the end|is not JSON/],
    ['', /an empty file/],
    [change((p) => { p.birds[1].mass_g = -1; }), /birds\[1\]\.mass_g: wrong value; got -1; expected more than 0/],
    [change((p) => { p.birds[1].name = 'red'; }), /birds\[1\]\.name: this bird is named twice/],
    [change((p) => { p.birds[0].tag_g = 450; }), /as heavy as the bird; got 450; expected less than mass_g 15.2/],
    [change((p) => { delete (p as Partial<TagPlanFile>).days; }), /"days" is missing/],
    [change((p) => { Object.assign(p.radio!, { colour: 1 }); }), /radio: this word has no meaning here; got "colour"; expected one of deviation_khz/],
    [change((p) => { p.radio!.band_mhz = [301, 300]; }), /radio\.band_mhz: the band is empty/],
    [change((p) => { delete p.radio!.raster_khz; }), /both band_mhz and raster_khz/],
    [change((p) => { Object.assign(p.recording!, { bits: 12 }); }), /recording\.bits: wrong value; got 12; expected one of 8, 16, 24, 32/],
  ])('refuses %.60s', (text, message) => {
    expect(() => parsePlan(text, 'p')).toThrow(message);
    expect(() => parsePlan(text, 'p')).toThrow(expect.objectContaining({ code: 'bad-table', message: expect.not.stringContaining('\n') as string }) as Error);
  });
});
