import { describe, expect, it } from 'vitest';
import { cutAtDips } from '../../src/evidence/dips.js';
import { cutSegments, type SegmentRules } from '../../src/evidence/segments.js';

const RULES: SegmentRules = { triggerDb: 5, keepDb: 0, belowPeakDb: 17, bridgeFrames: 4, leastFrames: 3 };

/** Level over time of stretches [frames, dB], with silence around. */
function draw(...stretches: [number, number][]): Float32Array {
  return Float32Array.from([...new Array<number>(20).fill(-30), ...stretches.flatMap(([frames, db]) => new Array<number>(frames).fill(db)), ...new Array<number>(20).fill(-30)]);
}
const cut = (level: Float32Array) => {
  const plain = cutSegments(2, level, RULES);
  return { plain: plain.map((s) => [s.startFrame, s.endFrame]), parts: cutAtDips(level, plain, RULES).map((s) => [s.startFrame, s.endFrame, s.peakFrame, s.peakDb]) };
};

describe('sounds on both sides of a dip', () => {
  it('a call a few milliseconds after preening has a cut of its own, and so has the preening', () => {
    expect(cut(draw([16, 24], [3, 2], [24, 22]))).toEqual({ plain: [[20, 63]], parts: [[20, 36, 20, 24], [39, 63, 39, 22]] });
  });

  it('a dip of less than 10 dB below either side parts nothing', () => {
    expect(cut(draw([16, 24], [3, 12.5], [24, 22])).parts).toEqual([]);
    expect(cut(draw([16, 24], [3, 12], [24, 22])).parts).toEqual([[20, 38, 20, 24], [39, 63, 39, 22]]);
    // A call that only rises, or only falls, has no dip however far it rises.
    expect(cut(draw([10, 8], [10, 16], [10, 24])).parts).toEqual([]);
    expect(cut(draw([10, 24], [10, 16], [10, 8])).parts).toEqual([]);
  });

  it('of several dips the deepest parts', () => {
    expect(cut(draw([10, 24], [3, 10], [10, 24], [3, 4], [10, 24])).parts).toEqual([[20, 43, 20, 24], [46, 56, 46, 24]]);
  });

  it('a side shorter than a call, or below what starts one, is none', () => {
    expect(cut(draw([2, 24], [3, 2], [24, 22])).parts).toEqual([[25, 49, 25, 22]]);
    expect(cut(draw([16, 24], [3, -4], [24, 22])).parts.length).toBe(2);
    const weak = draw([16, 20], [3, -7], [24, 4.5]);
    expect(cutAtDips(weak, [{ ...cutSegments(2, weak, RULES)[0], startFrame: 20, endFrame: 63 }], RULES).map((s) => [s.startFrame, s.endFrame])).toEqual([[20, 36]]);
  });
});
