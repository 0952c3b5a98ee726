import { beforeEach, describe, expect, it } from 'vitest';
import { PlaneSpace } from '../../src/kernels/plane-space.js';
import type { CrosstalkLevels } from '../../src/separate/crosstalk-levels.js';
import { canTellApart, guardByTables, guardWearer, isOtherVoice, SectionSums } from '../../src/separate/guard-wearer.js';
import type { TrackSound } from '../../src/separate/guard-wearer.js';
import { hushOthers } from '../../src/separate/hush-others.js';
import type { SeparationCall } from '../../src/separate/plan-pieces.js';
import type { Section } from '../../src/separate/section.js';
import { chooseSeparationSettings } from '../../src/separate/settings.js';
import { takeCalls, takeSounds } from '../../src/separate/take-rows.js';
import { openKernels } from '../kernels/support.js';

const settings = chooseSeparationSettings(8000), BINS = settings.binCount, WINDOWS = 200, STEP = settings.hopFrames / 8000;
/** Crosstalk of track 1 on track 0 and the way back, power. */
const THERE = 0.01, BACK = 0.02;

function makeLevels(there = THERE, back = BACK, counts = [4, 4]): CrosstalkLevels {
  return { trackCount: 2, ratio: [0, there, back, 0].map((v) => new Float64Array(BINS).fill(v)), usual: Float64Array.of(0, there, back, 0), callCount: Uint8Array.of(0, counts[0], counts[1], 0) };
}

let space: PlaneSpace;
beforeEach(async () => { space = new PlaneSpace(await openKernels(8 << 20), BINS); });

/** Both tracks at power 1e-8 (their floor), and between 0.3 and 0.5 s the caller on track 1 at power 1 and track 0 at `heard`; at `rise` for 40 ms from 0.56 s or another time on. */
function makeSection(heard: number, rise = 1e-8, riseSec = 0.56): Section {
  const centreSec = Float64Array.from({ length: WINDOWS }, (_, k) => (k + 0.5) * STEP);
  const powerAt = (j: number, t: number): number => (t >= 0.3 && t < 0.5 ? (j === 1 ? 1 : heard) : j === 0 && t >= riseSec && t < riseSec + 0.04 ? rise : 1e-8);
  const tracks = new Map([0, 1].map((j) => {
    const [planes] = space.createPlanes(WINDOWS), values = space.viewRows(planes.ptr, 2 * WINDOWS).fill(0);
    centreSec.forEach((t, k) => values.fill(Math.sqrt(powerAt(j, t)), k * space.width, k * space.width + BINS));
    const power = space.measurePower(planes), smooth = space.createRows(WINDOWS);
    space.smooth(power, WINDOWS, smooth);
    return [j, { planes, power, smooth }];
  }));
  return { startFrames: [0, 0], frameCount: WINDOWS * settings.hopFrames, spectrumCount: WINDOWS, tracks, centreSec, shiftSec: [undefined, undefined] };
}

const call: SeparationCall = { id: 1, track: 1, onsetSec: 0.3, offsetSec: 0.5, probability: 0.97 }, piece = { track: 0, startSec: 0.29, endSec: 0.65 };
const floors = [0, 1].map(() => new Float32Array(BINS).fill(1e-8));
const guard = (heard: number, row = call, levels = makeLevels(), sounds: TrackSound[] = []): Uint8Array => guardWearer(new SectionSums(space, makeSection(heard)), piece, [row], { levels, settings, sounds }, floors);
const count = (kept: Uint8Array): number => kept.reduce((a, b) => a + b, 0);

describe('guard of a silent wearer', () => {
  it('lets go what is as loud as crosstalk usually is, and up to 4.8 dB louder', () => {
    for (const heard of [0.1 * THERE, THERE, 2.9 * THERE]) expect(count(guard(heard))).toBe(0);
  });

  it('keeps every window that touches a call louder than that, room tail included', () => {
    const kept = guard(3.1 * THERE), { centreSec } = makeSection(1), reach = settings.fftSize / 2 / 8000;
    centreSec.forEach((t, k) => expect(kept[k]).toBe(t > 0.29 - reach && t < 0.65 + reach ? 1 : 0));
  });

  it.each([0.2, 0.7])('judges how loud a call is by nothing before or after it: a loud sound at %f s', (riseSec) => {
    expect(count(guardWearer(new SectionSums(space, makeSection(THERE, 1, riseSec)), piece, [call], { levels: makeLevels(), settings, sounds: [] }, floors))).toBe(0);
  });

  it('keeps a call whose row names the wearer second, birds in contact, pairs hardly known', () => {
    expect(count(guard(THERE, { ...call, rivalTrack: 0, rivalProbability: 0.03 }))).toBeGreaterThan(0);
    expect(count(guard(THERE, { ...call, rivalTrack: 0, rivalProbability: 0.01 }))).toBe(0);
    expect(count(guard(0.5, call, makeLevels(0.5, 0.5)))).toBeGreaterThan(0);
    expect(count(guard(THERE, call, makeLevels(THERE, BACK, [1, 4])))).toBeGreaterThan(0);
  });

  it('keeps what gets louder after a call, unless another call may be the reason', () => {
    const next = { ...call, id: 2, track: 1, onsetSec: 0.56, offsetSec: 0.6 }, reach = settings.fftSize / 2 / 8000;
    const guardRise = (power: number, rows: SeparationCall[]): Uint8Array => guardWearer(new SectionSums(space, makeSection(THERE, power)), piece, rows, { levels: makeLevels(), settings, sounds: [] }, floors);
    expect(count(guardRise(0.9 * THERE, [call]))).toBe(0);
    const kept = guardRise(1.1 * THERE, [call]);
    makeSection(1).centreSec.forEach((t, k) => expect(kept[k]).toBe(t > 0.5 - reach && t < 0.65 + reach ? 1 : 0));
    expect(count(guardRise(1.1 * THERE, [call, next]))).toBe(0);
  });

  it('knows from the tables alone what it keeps whatever is heard', () => {
    const byTables = (row: SeparationCall, levels = makeLevels(), sounds: TrackSound[] = []): Uint8Array => guardByTables(makeSection(1), piece, [row], { levels, settings, sounds }), sound = { track: 0, onsetSec: 0.4, offsetSec: 0.42 };
    const cases: [SeparationCall, CrosstalkLevels, TrackSound[]][] = [[{ ...call, rivalTrack: 0, rivalProbability: 0.03 }, makeLevels(), []], [call, makeLevels(0.5, 0.5), []], [call, makeLevels(), [sound]]];
    for (const [row, levels, sounds] of cases) {
      expect(count(byTables(row, levels, sounds))).toBeGreaterThan(0);
      expect(byTables(row, levels, sounds)).toEqual(guard(THERE, row, levels, sounds));
    }
    expect(count(byTables(call))).toBe(0);
  });

  it("keeps the windows that reach into a sound of the wearer's, not those that only touch it", () => {
    // All in fractions of two: windows of 1/64 s every 1/256 s.
    const rules = { levels: makeLevels(), settings: { ...settings, fftSize: 128, sampleRateHz: 8192 }, sounds: [] }, span = { ...makeSection(1), centreSec: Float64Array.from({ length: WINDOWS }, (_, k) => k / 256) };
    const keep = (onsetSec: number, offsetSec: number): Uint8Array => guardByTables(span, piece, [], { ...rules, sounds: [{ track: 0, onsetSec, offsetSec }] });
    expect(keep(0.5, 0.625)).toEqual(new Uint8Array(WINDOWS).fill(1, 127, 162));
    expect(keep(-1, 1)).toEqual(new Uint8Array(WINDOWS).fill(1));
  });

  it("keeps the wearer's own sounds and no others", () => {
    const sound = { track: 0, onsetSec: 0.4, offsetSec: 0.42 };
    const kept = count(guard(THERE, call, makeLevels(), [sound]));
    expect(kept).toBeGreaterThan(0);
    expect(kept).toBeLessThan(0.25 * WINDOWS);
    expect(count(guard(THERE, call, makeLevels(), [{ ...sound, track: 1 }]))).toBe(0);
  });

  it('is obeyed: windows that are kept do not change, others go down to the floor', () => {
    const section = makeSection(THERE), own = section.tracks.get(0)!, kept = new Uint8Array(WINDOWS).fill(1, 0, 60), [change] = space.createPlanes(WINDOWS);
    const hush = (active: number, power = section.tracks.get(1)!.smooth): boolean => hushOthers(space, own, [{ active: space.placeFlags(new Uint8Array(WINDOWS).fill(active)), power, level: space.placeRow(new Float32Array(BINS).fill(THERE)) }], kept, space.placeRow(floors[0], 1), settings, change);
    expect(hush(1)).toBe(true);
    const changes = space.viewRows(change.ptr, WINDOWS), before = space.viewRows(own.planes.ptr, WINDOWS);
    expect(changes.subarray(0, 60 * space.width).every((v) => v === 0)).toBe(true);
    section.centreSec.forEach((t, k) => {
      if (kept[k] || t < 0.32 || t > 0.48) return;
      const i = k * space.width + 5;
      // The smoothed power and the power of a constant are the same.
      expect((before[i] + changes[i]) ** 2 / 1e-8).toBeCloseTo(1, 3);
    });
    // Nobody calls, or nobody can be heard.
    expect(hush(0)).toBe(false);
    const quiet = space.createRows(WINDOWS);
    space.viewRows(quiet, WINDOWS).fill(1e-8);
    expect(hush(1, quiet)).toBe(false);
  });
});

describe('birds that level tells apart', () => {
  it('are those whose crosstalk both ways is below -20 dB', () => {
    expect(canTellApart(makeLevels(0.09, 0.11), 0, 1)).toBe(true);
    expect(canTellApart(makeLevels(0.11, 0.11), 0, 1)).toBe(false);
    // A loud receiver on one side does not matter.
    expect(canTellApart(makeLevels(1.8, 0.004), 0, 1)).toBe(true);
  });

  it('need a low level where nothing is known of the way back', () => {
    expect(canTellApart(makeLevels(0.05, 0, [4, 0]), 0, 1)).toBe(true);
    expect(canTellApart(makeLevels(0.1, 0, [4, 0]), 0, 1)).toBe(false);
  });
});

describe('another voice in an own call', () => {
  const own: SeparationCall = { id: 2, track: 0, onsetSec: 1, offsetSec: 1.2, probability: 0.9 }, other = { ...own, id: 3, track: 1, onsetSec: 1.1 };
  const isOther = (o: SeparationCall, sounds: TrackSound[] = [], mine = own): boolean => isOtherVoice(mine, o, sounds, 0.75);
  it('is none where both rows begin and end together, or one track broke through on the other', () => {
    expect(isOther(other)).toBe(true);
    expect(isOther({ ...other, onsetSec: 1.011 })).toBe(false);
    expect(isOther({ ...other, onsetSec: 1.011, offsetSec: 1.25 })).toBe(true);
    for (const [track, source] of [[0, 1], [1, 0]]) expect(isOther(other, [{ track, source, onsetSec: 1, offsetSec: 1.2 }])).toBe(false);
    expect(isOther(other, [{ track: 1, source: 2, onsetSec: 1, offsetSec: 1.2 }, { track: 1, onsetSec: 1, offsetSec: 1.2 }])).toBe(true);
    expect(isOther(other, [{ track: 1, source: 0, onsetSec: 1.2, offsetSec: 1.3 }])).toBe(true);
  });

  it('is none where an unsure own row shares one end with it', () => {
    const unsure = { ...own, probability: 0.74 };
    expect(isOther({ ...other, onsetSec: 1.011, offsetSec: 1.25 }, [], unsure)).toBe(false);
    expect(isOther({ ...other, onsetSec: 0.9, offsetSec: 1.211 }, [], unsure)).toBe(false);
    expect(isOther({ ...other, onsetSec: 0.9, offsetSec: 1.25 }, [], unsure)).toBe(true);
  });
});

describe('rows of the tables', () => {
  it('become calls and sounds of tracks; sounds of the room and of other birds are left out', () => {
    const row = { callId: 7, bird: 'blue', onsetSec: 1, offsetSec: 2, onsetUtc: '', probability: 0.9, track: 'blue', levelDb: 0, snrDb: 9, peakHz: 1, overlaps: 0, runnerUp: 'red', runnerUpProbability: 0.08 };
    expect(takeCalls([row, { ...row, bird: 'none', runnerUp: '' }], ['red', 'blue'])).toMatchObject([{ id: 7, track: 1, rivalTrack: 0, rivalProbability: 0.08 }, { track: -1, rivalTrack: -1 }]);
    const sound = { kind: 'body' as const, track: 'red', onsetSec: 3, offsetSec: 4, levelDb: 0, source: '' };
    expect(takeSounds([sound, { ...sound, kind: 'room' }, { ...sound, track: 'green' }, { ...sound, kind: 'breakthrough', source: 'blue', onsetSec: 2 }], ['red', 'blue']))
      .toEqual([{ track: 0, source: 1, onsetSec: 2, offsetSec: 4 }, { track: 0, onsetSec: 3, offsetSec: 4 }]);
    // Either of the two likeliest callers may have made it.
    expect(takeSounds([{ ...sound, kind: 'unsure', source: 'blue' }], ['red', 'blue'])).toEqual([{ track: 0, onsetSec: 3, offsetSec: 4 }, { track: 1, onsetSec: 3, offsetSec: 4 }]);
  });
});
