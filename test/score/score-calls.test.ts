import { describe, expect, it } from 'vitest';
import type { LabelRow } from '../../src/schema/rows.js';
import { formatScore } from '../../src/score/format-score.js';
import { NO_CALL, NOT_REPORTED } from '../../src/score/match-scores.js';
import { scoreCalls } from '../../src/score/score-calls.js';
import { scoreToJson } from '../../src/score/score-json.js';
import type { ReportedCall } from '../../src/score/types.js';
import { makeRandomTables, shuffle } from './random-tables.js';

const report = (bird: string, onsetSec: number, offsetSec: number, probability = 0.9): ReportedCall => ({ bird, onsetSec, offsetSec, probability });
const label = (bird: string, onsetSec: number, offsetSec: number, extra: Record<string, string> = {}): LabelRow => ({ bird, onsetSec, offsetSec, extra });

/** Worked by hand: every kind of error once. */
const labels = [
  label('A', 1, 1.2, { snr_db: '35', overlap: '0' }), // right, 4 ms late
  label('B', 2, 2.2, { snr_db: '25', overlap: '0' }), // given to A
  label('A', 3, 3.2, { snr_db: '5', overlap: '0' }), // missed
  label('B', 4, 4.2, { snr_db: '15', overlap: '1' }), // right, 8 ms early, and a ghost of A in it
  label('none', 5, 5.1, { snr_db: '', overlap: '0' }), // found as none
  label('none', 6, 6.1), // given to B
  label('B', 8, 8.3, { snr_db: '10', overlap: '1' }), // right at once
];
const calls = [
  report('A', 1.004, 1.2, 0.99), report('A', 2, 2.2, 0.6), report('B', 3.992, 4.19, 0.95), report('A', 4.08, 4.18, 0.3),
  report('none', 5, 5.1, 0.8), report('B', 6.001, 6.1, 0.5), report('B', 7, 7.1, 0.2), report('B', 8, 8.3, 1),
];

describe('scoreCalls', () => {
  const score = scoreCalls(calls, labels);

  it('counts detection whatever the bird', () => {
    expect(score.detection).toMatchObject({ truePositives: 6, falsePositives: 2, falseNegatives: 1 });
    expect(score.detection.precision.value).toBeCloseTo(6 / 8, 12);
    expect(score.detection.recall.value).toBeCloseTo(6 / 7, 12);
    expect(score.detection.f1.value).toBeCloseTo(12 / 15, 12);
  });

  it('counts right time and right bird over tagged birds, per bird and as a mean over birds', () => {
    expect(score.rightBird).toMatchObject({ truePositives: 3, falsePositives: 4, falseNegatives: 2 });
    expect(score.rightBird.f1.value).toBeCloseTo(6 / 12, 12);
    expect(score.rightBird.perBird).toMatchObject([
      { bird: 'A', labels: 2, reports: 3, truePositives: 1, falsePositives: 2, falseNegatives: 1 },
      { bird: 'B', labels: 3, reports: 4, truePositives: 2, falsePositives: 2, falseNegatives: 1 },
    ]);
    expect(score.rightBird.macro.f1.value).toBeCloseTo((2 / 5 + 4 / 7) / 2, 12);
    expect(score.rightBird.macro.precision).toBeCloseTo((1 / 3 + 1 / 2) / 2, 12);
  });

  it('counts attribution, confusion, ghosts and untagged callers', () => {
    expect(score.attribution.accuracy.value).toBeCloseTo(4 / 6, 12);
    expect(score.attribution.confusion).toEqual({
      rows: ['A', 'B', 'none', NO_CALL], columns: ['A', 'B', 'none', NOT_REPORTED],
      counts: [[1, 0, 0, 1], [1, 2, 0, 0], [0, 1, 1, 0], [1, 1, 0, 0]],
    });
    // A in the call of B at 2 s, A in the call of B at 4 s, B in the untagged call at 6 s; the report at 7 s lies in no call.
    expect(score.ghosts.count).toBe(3);
    expect(score.ghosts.perTrueCall.value).toBeCloseTo(3 / 7, 12);
    expect(score.untagged).toMatchObject({ labels: 2, found: { value: 1 }, givenToTagged: { value: 0.5 } });
  });

  it('measures time errors in ms', () => {
    // Onset errors 4, 0, -8, 0, 1, 0.
    expect(score.timing.onset.pairs).toBe(6);
    expect(score.timing.onset.medianMs.value).toBeCloseTo(0.5, 9);
    expect(score.timing.onset.p95Ms.value).toBeCloseTo(7, 9);
    expect(score.timing.onset.meanMs.value).toBeCloseTo(-0.5, 9);
    expect(score.timing.offset.meanMs.value).toBeCloseTo(-10 / 6, 9);
  });

  it('measures the diarization error rate over tagged birds, untagged callers on request', () => {
    // Labelled .2 x 4 + .3; missed .004 + .2 + .01; false .008 + .1 (in the call of B, two reported) + .099 + .1; confused .2.
    expect(score.diarization.scoredSec).toBeCloseTo(1.1, 9);
    expect(score.diarization.missedSec).toBeCloseTo(0.214, 9);
    expect(score.diarization.falseAlarmSec).toBeCloseTo(0.307, 9);
    expect(score.diarization.confusedSec).toBeCloseTo(0.2, 9);
    expect(score.diarization.errorRate.value).toBeCloseTo(0.721 / 1.1, 9);
    const withUntagged = scoreCalls(calls, labels, { untaggedInDiarization: true }).diarization;
    expect(withUntagged.scoredSec).toBeCloseTo(1.3, 9);
    expect(withUntagged.confusedSec).toBeCloseTo(0.299, 9);
  });

  it('takes a report as right when it matches its own bird, none included', () => {
    const right = [0.99, 0.95, 0.8, 1];
    const wrong = [0.6, 0.3, 0.5, 0.2];
    expect(score.calibration).toMatchObject({ reports: 8, correct: 4 });
    const brier = (right.reduce((s, p) => s + (1 - p) ** 2, 0) + wrong.reduce((s, p) => s + p * p, 0)) / 8;
    expect(score.calibration.brier.value).toBeCloseTo(brier, 12);
    // Bins of a fifteenth: 14 and 15 hold .95, .99, 1 (all in one, .9333 to 1); the others stand alone.
    const ece = (Math.abs(3 - 2.94) + 0.2 + 0.6 + 0.3 + 0.5 + 0.2) / 8;
    expect(score.calibration.calibrationError.value).toBeCloseTo(ece, 12);
    expect(score.calibration.riskCoverage.choices.find((c) => c.asked === 0.99)).toMatchObject({ threshold: 0.8, kept: 4, keptShare: 0.5 });
    expect(score.calibration.reliability).toHaveLength(15);
  });

  it('says what is left at 90, 95, 98, 99 and 99.5 % precision, or at those that are asked for', () => {
    const asked = (options: Parameters<typeof scoreCalls>[2] = {}): number[] => scoreCalls(calls, labels, options).calibration.riskCoverage.choices.map((c) => c.asked);
    expect(asked()).toEqual([0.9, 0.95, 0.98, 0.99, 0.995]);
    expect(asked({ precisions: [0.7] })).toEqual([0.7]);
  });

  it('splits by the columns that the labels have', () => {
    expect(score.splits.map((s) => s.column)).toEqual(['snr_db', 'overlap']);
    const [bySnr, byOverlap] = score.splits;
    expect(bySnr.groups.map((g) => [g.group, g.labels])).toEqual([['below 10 dB', 1], ['10 to 20 dB', 2], ['20 to 30 dB', 1], ['from 30 dB', 1]]);
    const overlapped = byOverlap.groups.find((g) => g.group === 'yes')!;
    expect(overlapped).toMatchObject({ labels: 2, taggedLabels: 2, detectionRecall: { value: 1 }, rightBirdRecall: { value: 1 } });
    expect(overlapped.rightBirdPrecision.value).toBeCloseTo(2 / 3, 12);
    expect(overlapped.ghostsPerTrueCall.value).toBeCloseTo(1 / 2, 12);
    expect(overlapped.onsetMedianMs).toBeCloseTo(4, 9);
  });

  it('restricts to tracks', () => {
    const onlyA = scoreCalls(calls, labels, { tracks: ['A'] });
    expect(onlyA.rightBird).toMatchObject({ truePositives: 1, falsePositives: 2, falseNegatives: 1 });
    expect(onlyA.rightBird.perBird.map((b) => b.bird)).toEqual(['A']);
    expect(onlyA.counts).toMatchObject({ labels: 4, taggedLabels: 2, untaggedLabels: 2 });
    expect(onlyA.ghosts.count).toBe(2);
    expect(onlyA.attribution.confusion.columns).toEqual(['A', 'B', 'none', NOT_REPORTED]);
    expect(() => scoreCalls(calls, labels, { tracks: ['C'] })).toThrow(/--tracks: no call and no label of this bird; got "C"; expected A, B/);
  });

  it('restricts to a stretch and keeps pairs across its ends together', () => {
    const part = scoreCalls(calls, labels, { fromSec: 3.995, toSec: 6.0005 });
    // The report at 3.992 belongs to the label at 4, the report at 6.001 to the label at 6.
    expect(part.detection).toMatchObject({ truePositives: 3, falsePositives: 1, falseNegatives: 0 });
    expect(part.counts).toMatchObject({ labels: 3, labelsOutside: 4 });
  });

  it('gives 1 and 0 for a perfect table, with intervals that stay honest', () => {
    const perfect = scoreCalls(labels.map((l) => report(l.bird, l.onsetSec, l.offsetSec, 1)), labels);
    expect([perfect.detection.f1.value, perfect.rightBird.f1.value, perfect.attribution.accuracy.value]).toEqual([1, 1, 1]);
    expect([perfect.ghosts.count, perfect.diarization.errorRate.value, perfect.calibration.brier.value]).toEqual([0, 0, 0]);
    expect(perfect.rightBird.f1.method).toBe('wilson-f1');
    expect(perfect.rightBird.f1.low).toBeLessThan(0.8);
    expect(perfect.ghosts.perTrueCall.high).toBeCloseTo(3.6889 / 7, 4);
  });

  it('keeps every value in its interval on random tables, and no number depends on the order of the rows', () => {
    const tables = makeRandomTables(21, 250, 60);
    const options = { resamples: 200 };
    const json = scoreToJson(scoreCalls(tables.calls, tables.labels, options));
    for (const seed of [1, 2, 3]) {
      expect(scoreToJson(scoreCalls(shuffle(tables.calls, seed), shuffle(tables.labels, seed + 5), options))).toBe(json);
    }
    const s = scoreCalls(tables.calls, tables.labels, options);
    for (const e of [s.detection.f1, s.rightBird.f1, s.attribution.accuracy, s.diarization.errorRate, s.timing.onset.medianMs, s.calibration.brier]) {
      expect(e.low!).toBeLessThan(e.value!);
      expect(e.high!).toBeGreaterThan(e.value!);
    }
    expect(s.detection.f1.method).toBe('bca');
  });

  it('agrees with its parts: confusion, birds and splits add up', () => {
    for (let seed = 1; seed <= 10; seed++) {
      const tables = makeRandomTables(seed, 80, 15);
      const s = scoreCalls(tables.calls, tables.labels, { resamples: 2 });
      const { rows, columns, counts } = s.attribution.confusion;
      const total = (keep: (row: string, column: string) => boolean): number =>
        rows.reduce((sum, row, i) => sum + columns.reduce((t, column, j) => t + (keep(row, column) ? counts[i][j] : 0), 0), 0);
      expect(total((row) => row !== NO_CALL)).toBe(tables.labels.length);
      expect(total((_, column) => column !== NOT_REPORTED)).toBe(tables.calls.length);
      expect(total((row, column) => row !== NO_CALL && column !== NOT_REPORTED)).toBe(s.detection.truePositives);
      expect(total((row, column) => row === column)).toBe(Math.round(s.attribution.accuracy.value! * s.detection.truePositives));
      expect(s.rightBird.perBird.reduce((n, b) => n + b.truePositives, 0)).toBe(s.rightBird.truePositives);
      // Restricting the birds can only lose pairs that a free choice would have.
      expect(s.rightBird.truePositives).toBeLessThanOrEqual(tables.labels.filter((l) => l.bird !== 'none').length);
      expect(s.splits.find((x) => x.column === 'snr_db')!.groups.reduce((n, g) => n + g.labels, 0)).toBe(tables.labels.length);
      const times = s.diarization;
      expect(times.errorRate.value).toBeCloseTo((times.missedSec + times.falseAlarmSec + times.confusedSec) / times.scoredSec, 12);
    }
  });

  it('survives empty tables', () => {
    const empty = scoreCalls([], []);
    expect(empty.detection.f1.value).toBeNull();
    expect(empty.calibration.brier.value).toBeNull();
    expect(scoreCalls([], labels).rightBird).toMatchObject({ truePositives: 0, falseNegatives: 5, f1: { value: 0 }, precision: { value: null } });
    expect(scoreCalls(calls, []).detection).toMatchObject({ falsePositives: 8, recall: { value: null }, f1: { value: 0 } });
    expect(formatScore(empty)).toContain('0 reports against 0 labelled calls');
    expect(JSON.parse(scoreToJson(empty)).diarization.errorRate.value).toBeNull();
  });

  it('refuses rows without usable numbers', () => {
    expect(() => scoreCalls([report('A', NaN, 1)], labels)).toThrow(/calls, row 1: a call without usable times/);
    expect(() => scoreCalls([report('A', 0, 1, 1.5)], labels)).toThrow(/probability 1.5/);
    expect(() => scoreCalls(calls, [label('A', 1, 1)])).toThrow(/labels, row 1: a label without a duration/);
  });
});

describe('formatScore', () => {
  it('shows each measure with its interval', () => {
    const text = formatScore(scoreCalls(calls, labels));
    expect(text).toContain('8 reports against 7 labelled calls: 5 by 2 tagged birds, 2 by untagged callers.');
    expect(text).toMatch(/right time and right bird +F1 +0\.500 +\d\.\d{3} to \d\.\d{3} /);
    expect(text).toMatch(/ghosts +per true call +0\.4286 +0\.\d{4} to 1\.\d{4} +3 reports in somebody else's call/);
    expect(text).not.toMatch(/NaN|undefined|null/);
  });
});
