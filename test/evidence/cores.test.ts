import { describe, expect, it } from 'vitest';
import { cutCores } from '../../src/evidence/cores.js';
import { cutSegments, type SegmentRules } from '../../src/evidence/segments.js';

const RULES: SegmentRules = { triggerDb: 5, keepDb: 0, belowPeakDb: 17, bridgeFrames: 4, leastFrames: 3 }, HOP_SEC = 0.003;

/** Level over time of stretches [frames, dB], with silence around. */
function draw(...stretches: [number, number][]): Float32Array {
  return Float32Array.from([...new Array<number>(20).fill(-30), ...stretches.flatMap(([frames, db]) => new Array<number>(frames).fill(db)), ...new Array<number>(20).fill(-30)]);
}
const cut = (level: Float32Array) => {
  const plain = cutSegments(2, level, RULES);
  return { plain: plain.map((s) => [s.startFrame, s.endFrame]), cores: cutCores(2, level, plain, RULES, HOP_SEC).map((s) => [s.startFrame, s.endFrame, s.core, s.track]) };
};

describe('cores of segments', () => {
  it('a call that preening leads into has a cut of its own, from where it stands out', () => {
    expect(cut(draw([19, 14], [30, 26]))).toEqual({ plain: [[20, 69]], cores: [[39, 69, true, 2]] });
  });

  it('a call alone has none, nor one that noise precedes for less than 40 ms', () => {
    expect(cut(draw([30, 26]))).toEqual({ plain: [[20, 50]], cores: [] });
    expect(cut(draw([12, 14], [30, 26]))).toEqual({ plain: [[20, 62]], cores: [] });
    expect(cut(draw([13, 14], [30, 26])).cores).toEqual([[33, 63, true, 2]]);
  });

  it('noise that goes on behind a call counts where it is longer than the call by half again', () => {
    expect(cut(draw([20, 26], [29, 14])).cores).toEqual([]);
    expect(cut(draw([20, 26], [31, 14])).cores).toEqual([[20, 40, true, 2]]);
  });

  it('what precedes by more than 17 dB below the peak is cut off already', () => {
    expect(cut(draw([19, 8], [30, 26]))).toEqual({ plain: [[39, 69]], cores: [] });
  });
});
