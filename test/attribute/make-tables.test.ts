import { describe, expect, it } from 'vitest';
import { UNTAGGED, type AttributedCall, type Attribution } from '../../src/attribute/attribution.js';
import { makeCallRows, makeSoundRows, type TableContext } from '../../src/attribute/make-tables.js';
import type { Candidate } from '../../src/evidence/candidate.js';
import { makeCandidate } from '../model/make-candidate.js';

const context: TableContext = { birds: ['red', 'blue', 'green'], startUtc: '2024-05-01T06:00:00Z', hopSec: 0.0025, fftSize: 512, bandFloorDb: () => -70 };
const call = (candidate: number, c: Candidate, part: Partial<AttributedCall> = {}): AttributedCall => ({
  caller: c.track, candidate, onsetSec: c.onsetSec, offsetSec: c.offsetSec, probability: 0.9, runnerUp: UNTAGGED, runnerUpProbability: 0.05, ...part,
});
const give = (calls: AttributedCall[], leftovers: Attribution['leftovers'] = []): Attribution => ({ calls, leftovers, ownProbability: new Float64Array(0) });

describe('call rows', () => {
  it('name bird, track and runner-up, and tell level and time in full', () => {
    // 200 bins of -40 dB in 40 frames of 256 bins: 10 log10(200 / 40 / 256) = -17.09 dB for the mean over time and frequency.
    const c = [makeCandidate(3, { track: 1, onsetSec: 61.5, levelDb: Float64Array.from([-60, -40, -60]) }), makeCandidate(3, { track: 2, onsetSec: 70 })];
    const rows = makeCallRows(c, give([call(0, c[0], { runnerUp: 2 }), call(1, c[1], { caller: UNTAGGED, runnerUp: null, runnerUpProbability: 0 })]), context);
    expect(rows[0]).toMatchObject({ callId: 1, bird: 'blue', track: 'blue', onsetSec: 61.5, onsetUtc: expect.stringMatching(/^2024-05-01T06:01:01\.5/), runnerUp: 'green', overlaps: 0 });
    expect(rows[0].levelDb).toBeCloseTo(-57.09, 2);
    expect(rows[0].snrDb).toBeCloseTo(12.91, 2);
    expect(rows[1]).toMatchObject({ callId: 2, bird: 'none', track: 'green', runnerUp: '' });
    expect(makeCallRows(c, give([call(0, c[0])]), { ...context, startUtc: undefined })[0].onsetUtc).toBe('');
  });

  it('count the other calls that overlap, on whatever track', () => {
    const c = [[1, 1.2], [1.1, 1.3], [1.25, 1.4], [1.4, 1.5], [1.05, 1.06]].sort((a, b) => a[0] - b[0]).map(([onsetSec, offsetSec], k) => makeCandidate(3, { track: k % 3, onsetSec, offsetSec }));
    const rows = makeCallRows(c, give(c.map((v, k) => call(k, v))), context);
    const plain = c.map((a, k) => c.filter((b, m) => m !== k && b.onsetSec < a.offsetSec && b.offsetSec > a.onsetSec).length);
    expect(rows.map((r) => r.overlaps)).toEqual(plain);
    expect(plain).toEqual([2, 1, 2, 1, 0]);
  });
});

describe('sound rows', () => {
  it('tell lost links; stretches closer than 0.15 s are one', () => {
    const rows = makeSoundRows([], give([]), [[0, 1, 2], [0, 2.1, 3], [0, 3.2, 4], [1, 2.05, 2.06]], context);
    expect(rows.map((r) => [r.kind, r.track, r.onsetSec, r.offsetSec])).toEqual([['dropout', 'red', 1, 3], ['dropout', 'blue', 2.05, 2.06], ['dropout', 'red', 3.2, 4]]);
  });

  it('tell body noise from sounds of the room, and leave what is neither', () => {
    const alone = new Float64Array(3);
    const c = [
      makeCandidate(3, { track: 0, onsetSec: 1, agreementZ: alone, leadDb: 20 }), makeCandidate(3, { track: 1, onsetSec: 2, leadDb: 2 }),
      makeCandidate(3, { track: 2, onsetSec: 2.01 }), makeCandidate(3, { track: 0, onsetSec: 5, agreementZ: alone, leadDb: 3 }),
    ];
    const event = (lead: number, members: number[]) => ({ lead, members, onsetSec: c[lead].onsetSec, offsetSec: c[lead].offsetSec });
    const rows = makeSoundRows(c, give([], [event(0, [0]), event(1, [1, 2]), event(3, [3])]), [], context);
    expect(rows.map((r) => [r.kind, r.track])).toEqual([['body', 'red'], ['room', 'blue']]);
  });

  it('name the two likeliest birds of what is probably a call, though of neither for sure', () => {
    const c = [makeCandidate(3, { track: 0, onsetSec: 1 }), makeCandidate(3, { track: 1, onsetSec: 1.001 }), makeCandidate(3, { track: 1, onsetSec: 1.01 }), makeCandidate(3, { track: 2, onsetSec: 1.02, shared: 1 })];
    const tell = (p: number[]) => makeSoundRows(c, { ...give([], [{ lead: 0, members: [0, 1, 2, 3], onsetSec: 1, offsetSec: 1.2 }]), ownProbability: Float64Array.from(p) }, [], context);
    // Cuts of one track are the same bird: the likelier counts. Shared sound is nobody's own.
    expect(tell([0.2, 0.31, 0.1, 0])).toMatchObject([{ kind: 'unsure', track: 'blue', source: 'red', onsetSec: 1.001 }]);
    expect(tell([0.2, 0.25, 0.25, 0.4]).map((r) => r.kind)).toEqual(['room']);
  });

  it('leave calls of unsure callers apart, however near', () => {
    const c = [0, 1].flatMap((k) => [makeCandidate(3, { track: 0, onsetSec: 1 + 0.25 * k, offsetSec: 1.2 + 0.25 * k }), makeCandidate(3, { track: 1, onsetSec: 1 + 0.25 * k, offsetSec: 1.2 + 0.25 * k })]);
    const events = [0, 2].map((n) => ({ lead: n, members: [n, n + 1], onsetSec: c[n].onsetSec, offsetSec: c[n].offsetSec }));
    const rows = makeSoundRows(c, { ...give([], events), ownProbability: Float64Array.from([0.4, 0.3, 0.4, 0.3]) }, [], context);
    expect(rows.map((r) => [r.kind, r.track, r.source, r.onsetSec])).toEqual([['unsure', 'red', 'blue', 1], ['unsure', 'red', 'blue', 1.25]]);
  });

  it('tell a copy without delay as breakthrough, with where it comes from and how much fainter it is', () => {
    const c = [makeCandidate(3, { track: 0, onsetSec: 1, levelDb: Float64Array.from([-40, -63, -60]), zeroLag: Float64Array.from([0, 0.8, 0.1]), lagSec: Float64Array.from([0, 1e-6, 0.002]) })];
    const rows = makeSoundRows(c, give([call(0, c[0])]), [], context);
    expect(rows).toHaveLength(1);
    expect(rows[0]).toMatchObject({ kind: 'breakthrough', track: 'blue', source: 'red' });
    const [own] = makeCallRows(c, give([call(0, c[0])]), context);
    expect(rows[0].levelDb).toBeCloseTo(own.levelDb - 23, 9);
    // Sound takes 15 us for 5 mm: what is later came through the air.
    const later = [{ ...c[0], lagSec: Float64Array.from([0, 2e-5, 0.002]) }];
    expect(makeSoundRows(later, give([call(0, later[0])]), [], context)).toEqual([]);
  });
});
