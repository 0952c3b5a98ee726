import type { ReportInput } from '../../src/report/index.js';
import { scoreCalls } from '../../src/score/score-calls.js';
import type { CallRow, LabelRow } from '../../src/schema/rows.js';

export const NASTY = `<b>&"'\u0007 ring`;

/** A row of the call table. */
export function callRow(callId: number, bird: string, onsetSec: number, probability: number, more: Partial<CallRow> = {}): CallRow {
  return {
    callId, bird, onsetSec, offsetSec: onsetSec + 0.1, onsetUtc: '', probability, track: bird === 'none' ? 'ochre' : bird, levelDb: -30, snrDb: 25, peakHz: 3500,
    overlaps: 0, runnerUp: '', runnerUpProbability: NaN, ...more,
  };
}

/** Two birds (one with a name that tests escaping), one caller without a tag, two recorders, labels and a score. */
export function makeInput(): ReportInput {
  const calls = [
    callRow(1, 'ochre', 1, 0.99, { runnerUp: NASTY, runnerUpProbability: 0.007 }), callRow(2, NASTY, 1.5, 0.9), callRow(3, 'ochre', 2, 0.6, { overlaps: 1 }), callRow(4, 'none', 2.05, 0.97, { overlaps: 1 }),
    callRow(5, NASTY, 5, 1), callRow(6, 'ochre', 7.25, 0.983),
  ];
  const label = (bird: string, onsetSec: number): LabelRow => ({ bird, onsetSec, offsetSec: onsetSec + 0.1, extra: { overlap: onsetSec === 2 ? '1' : '0' } });
  const labels = [label('ochre', 1.002), label(NASTY, 1.503), label(NASTY, 2), label('none', 2.051), label(NASTY, 5.001), label('ochre', 9)];
  return {
    study: { name: `Study ${NASTY}`, note: `A note ${NASTY}`, start: '2024-05-01T06:00:00Z', recorders: ['one', NASTY], tracks: [{ bird: 'ochre', recorder: 'one' }, { bird: NASTY, recorder: NASTY }] },
    run: { durationSec: 10, gainsDb: { ochre: 3.25, [NASTY]: -3.25 }, settings: { sampleRateHz: 32000, bandHz: [400, 9000], note: NASTY }, versions: { volary: '9.8.7' }, kernelHash: 'abc123', inputs: [{ path: `${NASTY}.wav`, frameCount: 320000 }] },
    calls, labels,
    sounds: [
      { kind: 'body', track: 'ochre', onsetSec: 3, offsetSec: 3.4, levelDb: -20, source: '' }, { kind: 'dropout', track: NASTY, onsetSec: 8, offsetSec: 8.8, levelDb: NaN, source: '' },
      { kind: 'breakthrough', track: NASTY, onsetSec: 1, offsetSec: 1.1, levelDb: -55, source: 'ochre' }, { kind: 'room', track: 'ochre', onsetSec: 4, offsetSec: 4.2, levelDb: -50, source: '' },
    ],
    clock: [0, 5, 10].map((tRefSec) => ({ recorder: NASTY, tRefSec, offsetSec: 0.5 + 20e-6 * tRefSec, ppm: 20, uncertaintySec: 0.000012 })),
    hours: [
      { track: 'ochre', recorder: 'one', startSec: 0, usableSec: 10, noiseFloorDb: -61.5, gainDb: 3.25, lostShare: 0 },
      { track: NASTY, recorder: NASTY, startSec: 0, usableSec: 9.2, noiseFloorDb: -66.5, gainDb: -3.25, lostShare: 0.08 },
    ],
    score: JSON.parse(JSON.stringify(scoreCalls(calls, labels, { resamples: 100 }))),
    excerpts: [{
      startSec: 0.5, endSec: 8.5, lowHz: 0, highHz: 10000, whiteDb: -90, blackDb: -42,
      tracks: ['ochre', NASTY].map((track) => ({ track, widthPx: 1, heightPx: 1, png: 'data:image/png;base64,iVBORw0KGgo=' })),
    }],
    evidence: [{ callId: 1, bird: 'ochre', track: NASTY, lagMs: 2.1, rawLeadDb: 26.5, leadDb: 20 }, { callId: 5, bird: NASTY, track: 'ochre', lagMs: 2.2, rawLeadDb: -1.5, leadDb: 5 }],
    version: '9.8.7',
  };
}
