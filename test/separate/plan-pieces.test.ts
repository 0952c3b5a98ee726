import { describe, expect, it } from 'vitest';
import { joinSpans, planPieces } from '../../src/separate/plan-pieces.js';
import type { SeparationCall } from '../../src/separate/plan-pieces.js';
import { chooseSeparationSettings } from '../../src/separate/settings.js';
import { findSolos } from '../../src/separate/solo-store.js';
import { makeNoise } from '../kernels/support.js';

const settings = chooseSeparationSettings(48000);

function drawCalls(count: number, seed: number, spanSec: number): SeparationCall[] {
  const v = makeNoise(3 * count, seed);
  return Array.from({ length: count }, (_, i) => {
    const onsetSec = (v[3 * i] + 0.5) * spanSec;
    return { id: i, track: Math.floor((v[3 * i + 1] + 0.5) * 5) - 1, onsetSec, offsetSec: onsetSec + 0.03 + 0.2 * (v[3 * i + 2] + 0.5), probability: i % 7 === 0 ? 0.3 : 0.9 };
  }).sort((a, b) => a.onsetSec - b.onsetSec);
}

describe('plan of pieces', () => {
  it('leaves a track alone where only its own bird calls, or one without a tag', () => {
    const calls = [{ id: 0, track: 0, onsetSec: 1, offsetSec: 1.2, probability: 1 }, { id: 1, track: -1, onsetSec: 3, offsetSec: 3.2, probability: 1 }];
    expect(planPieces(calls, 2, settings).filter((p) => p.track === 0)).toEqual([]);
    expect(planPieces(calls, 2, settings)).toHaveLength(1);
  });

  it('marks the part of an own call that another call meets', () => {
    const calls = [{ id: 0, track: 0, onsetSec: 1, offsetSec: 1.3, probability: 1 }, { id: 1, track: 1, onsetSec: 1.2, offsetSec: 1.4, probability: 1 }];
    const own = planPieces(calls, 2, settings).filter((p) => p.track === 0);
    expect(own.map((p) => [Number(p.startSec.toFixed(6)), Number(p.endSec.toFixed(6)), p.own?.id])).toEqual([[1.19, 1.36, 0], [1.36, 1.55, undefined]]);
  });

  it.each([1, 2, 3])('covers every moment another bird is heard, once (draw %i)', (draw) => {
    const calls = drawCalls(120, 77 * draw, 30);
    const pieces = planPieces(calls, 4, settings);
    for (let track = 0; track < 4; track++) {
      const own = pieces.filter((p) => p.track === track);
      own.forEach((p, i) => {
        expect(p.endSec).toBeGreaterThan(p.startSec);
        if (i > 0) expect(p.startSec).toBeGreaterThanOrEqual(own[i - 1].endSec - 1e-12);
        if (p.own) expect(p.own.track).toBe(track);
      });
      const wanted = joinSpans(calls.filter((c) => c.track >= 0 && c.track !== track && c.probability >= 0.5).map((c) => [Math.max(0, c.onsetSec - 0.01), c.offsetSec + settings.roomTailSec]));
      const covered = joinSpans(own.map((p) => [p.startSec, p.endSec + 1e-12]));
      expect(covered.length).toBe(wanted.length);
      covered.forEach((c, i) => { expect(c[0]).toBeCloseTo(wanted[i][0], 9); expect(c[1]).toBeCloseTo(wanted[i][1], 9); });
    }
  });
});

describe('solo calls', () => {
  it.each([5, 6, 7, 8])('are those that a comparison of all pairs finds (draw %i)', (draw) => {
    const calls = drawCalls(150, 31 * draw, 60);
    const direct = calls.filter((c) => c.track >= 0 && !calls.some((o) => o !== c && (o.track !== c.track || o.track < 0) && o.onsetSec < c.offsetSec + 0.03 && o.offsetSec > c.onsetSec - 0.03));
    expect(direct.length).toBeGreaterThan(5);
    expect(findSolos(calls, 0.03).map((c) => c.id)).toEqual(direct.map((c) => c.id));
  });
});
