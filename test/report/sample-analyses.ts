import type { NetworkEdge } from '../../src/analysis/network/index.js';
import type { ReportInput } from '../../src/report/index.js';
import type { HabituationRow, RateRow } from '../../src/schema/analysis-rows.js';
import { makeInput, NASTY } from './sample-input.js';

export const rate = (bird: string, perHour: number): RateRow => ({
  bird, what: 'calls', usableSec: 7200, count: 2 * perHour, perHour, low: perHour - 1, high: perHour + 1, hours: 2, dispersion: 3, dispersionWithin: 2.5, quasiLow: perHour - 2, quasiHigh: perHour + 2,
});

export const day = (n: number, change: number, verdict: HabituationRow['verdict']): HabituationRow => ({
  bird: '', after: 'fitted', day: n, measure: 'calls', pairs: 2, value: 1, baseline: 1, change, low: change - 0.1, high: change + 0.1, standardError: 0.05, dof: 4,
  pFlip: 0.5, pHolm: 1, pBh: 0.7, isExact: 'yes', pEquivalence: 0.01, detectable: 0.2, verdict,
});

export const edge = (caller: string, replier: string, kind: NetworkEdge['kind'], excess: number, through = ''): NetworkEdge => ({
  caller, replier, kind, calls: 100, replierCalls: 80, replies: 30, replyProbability: 0.3, chanceShift: 0.02, chanceJitter: 0.03, chance: 0.3 - excess, excess, excessLow: excess - 0.05, excessHigh: excess + 0.05, leak: 0,
  z: 9, pShift: 0.001, pJitter: 0.001, p: 0.001, q: 0.00004, latencyMedianSec: 0.22, latencyLowerSec: 0.19, latencyUpperSec: 0.26, gapMedianSec: 0.15, gapLowerSec: 0.12, gapUpperSec: 0.19, rateRatio: 8, rateRatioLow: 6, rateRatioHigh: 10.6, rateRatioNeeded: 2.3, indirectExcess: 0.04, through, pInfluence: 0.001, qInfluence: 0.002,
});

/** The sample with everything that the analyses can add. */
export function addAnalyses(): ReportInput {
  return {
    ...makeInput(),
    rates: { rates: [rate('ochre', 12), rate(NASTY, 30), rate('', 21)], byHour: [6, 7, 9].map((hour) => ({ ...rate('ochre', hour), hour })), dispersion: 'Scatter in words.', leftOut: { excluded: 17, unlikely: 0 } },
    habituation: { margin: 0.25, rows: [day(1, -0.5, 'different'), day(2, -0.2, 'undecided'), day(3, 0.02, 'equivalent')], decisions: [{ bird: '', after: 'fitted', testedDays: 3, firstUsableDay: 3, words: 'Back from day 3 on.' }, { bird: NASTY, after: 'fitted', testedDays: 3, firstUsableDay: null, words: '' }] },
    network: {
      edges: [edge('ochre', NASTY, 'reply', 0.25), edge(NASTY, 'ochre', 'none', 0.01), edge('zinc', 'ochre', 'pairwise', 0.05, NASTY)], settings: { fromSec: 0.05, toSec: 0.5, threshold: 0.8, surrogates: 2000, falseShare: 0.05, missedShare: 0.1 }, counts: { belowThreshold: 4 },
      latencies: [0, 0.2, 0.4].map((lagSec, i) => ({ caller: 'ochre', replier: NASTY, lagSec, pairs: [1, 20, 4][i], expected: 2.5, firstReplies: i })),
      turns: [{ birdA: 'ochre', birdB: NASTY, followed: 40, alternations: 30, share: 0.75, chance: 0.4, index: 0.35, p: 0.01 }, { birdA: NASTY, birdB: 'zinc', followed: 0, alternations: 0, share: NaN, chance: NaN, index: NaN, p: NaN }],
      days: [1, 2, 3].map((n) => ({ day: n, caller: 'ochre', replier: NASTY, calls: [50, 10, 40][n - 1], replies: 9, replyProbability: 0.3, chance: 0.05, excess: [0.25, 0.3, 0.2][n - 1] })),
    },
    excluded: [{ bird: '', startSec: 0, endSec: 2, reason: `fitted ${NASTY}` }, { bird: 'ochre', startSec: 5, endSec: 6, reason: 'battery' }],
  };
}
