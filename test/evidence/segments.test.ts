import { describe, expect, it } from 'vitest';
import { cutSegments, joinSegments, type Segment, type SegmentRules } from '../../src/evidence/segments.js';
import { makeRandom } from '../model/clock-synthetic.js';

const rules: SegmentRules = { triggerDb: 5, keepDb: 0, belowPeakDb: 17, bridgeFrames: 4, leastFrames: 3 };
const QUIET = -10;

/** Level over time from [frames, level] stretches. */
const draw = (...parts: [number, number][]): Float32Array => Float32Array.from(parts.flatMap(([n, v]) => new Array<number>(n).fill(v)));
const spans = (found: readonly Segment[]): [number, number][] => found.map((s) => [s.startFrame, s.endFrame]);

describe('cutting a level into segments', () => {
  it('takes a stretch above the trigger to where it falls below the keep level', () => {
    expect(spans(cutSegments(2, draw([20, QUIET], [10, 20], [20, QUIET]), rules))).toEqual([[20, 30]]);
    expect(cutSegments(2, draw([20, QUIET], [10, 20], [20, QUIET]), rules)[0]).toMatchObject({ track: 2, peakDb: 20, overPedestal: false, elements: 1 });
  });

  it('reaches no further than 17 dB below the peak', () => {
    expect(spans(cutSegments(0, draw([10, QUIET], [10, 12], [10, 30], [10, 14], [10, 12], [10, QUIET]), rules))).toEqual([[20, 40]]);
  });

  it('bridges gaps of up to four frames, not of five', () => {
    expect(spans(cutSegments(0, draw([10, QUIET], [10, 20], [4, QUIET], [10, 19], [10, QUIET]), rules))).toEqual([[10, 34]]);
    expect(spans(cutSegments(0, draw([10, QUIET], [10, 20], [5, QUIET], [10, 19], [10, QUIET]), rules))).toEqual([[10, 20], [25, 35]]);
  });

  it('leaves out what is short or never triggers', () => {
    expect(cutSegments(0, draw([10, QUIET], [2, 20], [10, QUIET], [20, 4.9], [10, QUIET]), rules)).toEqual([]);
    expect(cutSegments(0, new Float32Array(0), rules)).toEqual([]);
  });

  it('does not take the decay of a loud call for a call of its own, but what rises out of it', () => {
    const decay = Float32Array.from({ length: 40 }, (_, t) => 22 - t * 0.5);
    const level = (then: number): Float32Array => Float32Array.from([...draw([10, QUIET], [10, 40]), ...decay, ...draw([8, then], [20, QUIET])]);
    expect(spans(cutSegments(0, level(QUIET), rules))).toEqual([[10, 20]]);
    expect(spans(cutSegments(0, level(12), rules))).toEqual([[10, 20], [60, 68]]);
  });

  it('finds sound that is cut by the edges of the stretch', () => {
    expect(spans(cutSegments(0, draw([10, 20], [10, QUIET], [10, 20]), rules))).toEqual([[0, 10], [20, 30]]);
  });

  it('holds on any level: in time order, apart, inside, above the trigger, long enough', () => {
    for (let seed = 0; seed < 100; seed++) {
      const { uniform } = makeRandom(seed);
      let v = 0;
      const level = Float32Array.from({ length: 300 }, () => (v = Math.max(-30, Math.min(50, v + 14 * (uniform() - 0.5)))));
      const found = cutSegments(1, level, rules);
      found.forEach((s, k) => {
        expect(s.startFrame).toBeGreaterThanOrEqual(k ? found[k - 1].endFrame : 0);
        expect(s.endFrame).toBeLessThanOrEqual(level.length);
        expect(s.endFrame - s.startFrame).toBeGreaterThanOrEqual(rules.leastFrames);
        expect(s.peakDb).toBeGreaterThanOrEqual(rules.triggerDb);
        expect(s.peakDb).toBe(level[s.peakFrame]);
        expect(s.peakFrame).toBeGreaterThanOrEqual(s.startFrame);
        expect(s.peakFrame).toBeLessThan(s.endFrame);
      });
    }
  });
});

describe('joining segments to strings', () => {
  const segment = (startFrame: number, endFrame: number, peakDb: number): Segment => ({ track: 0, startFrame, endFrame, peakFrame: startFrame, peakDb, overPedestal: false, elements: 1 });

  it('joins elements that are near, and counts them', () => {
    expect(joinSegments([segment(0, 10, 20), segment(15, 25, 24), segment(30, 40, 21), segment(60, 70, 20)], 6, 100))
      .toMatchObject([{ ...segment(15, 40, 24), startFrame: 0, elements: 3, gapFrames: 5 }]);
  });

  it('says how uneven a string is: nothing for a trill, octaves for elements of different length, interval or level', () => {
    const unevenness = (...list: Segment[]): number => joinSegments(list, 12, 200)[0].unevenness!;
    expect(unevenness(segment(0, 10, 20), segment(15, 25, 20), segment(30, 40, 20))).toBe(0);
    // Two lengths an octave apart lie half an octave off their middle; interval and peaks do not differ: root of (2 x 0.25 + 0 + 0) / 5.
    expect(unevenness(segment(0, 10, 20), segment(15, 35, 20))).toBeCloseTo(Math.sqrt(0.5 / 5), 12);
    expect(unevenness(segment(0, 10, 20), segment(15, 25, 26))).toBeCloseTo(Math.sqrt(0.5 / 5), 12);
    expect(unevenness(segment(0, 10, 20), segment(15, 25, 20), segment(35, 45, 20))).toBeGreaterThan(0.1);
  });

  it('leaves single segments alone and breaks what would become too long', () => {
    expect(joinSegments([segment(0, 10, 20), segment(17, 25, 24)], 6, 100)).toEqual([]);
    expect(spans(joinSegments([segment(0, 10, 20), segment(12, 22, 20), segment(24, 34, 20), segment(36, 46, 20)], 6, 25))).toEqual([[0, 22], [24, 46]]);
  });

  it('does not take weak fragments beside one call for a string', () => {
    expect(joinSegments([segment(0, 3, 8), segment(5, 15, 30), segment(17, 20, 9)], 6, 100)).toEqual([]);
    expect(spans(joinSegments([segment(0, 3, 8), segment(5, 15, 30), segment(17, 27, 25)], 6, 100))).toEqual([[5, 27]]);
  });
});
