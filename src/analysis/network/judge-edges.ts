import type { Influence } from './fit-influence.js';
import type { GapMeasure } from './measure-gaps.js';
import type { PairMeasure } from './measure-pair.js';
import { adjustFalseDiscovery } from './multiple-tests.js';
import type { ExcessRange } from './propagate-errors.js';
import type { NetworkSettings } from './types.js';

/**
 * reply: more replies than both kinds of surrogates by the least ratio, than confusion of birds could feign, and net of everything in the regression;
 * pairwise: more than the surrogates and confusion, but the regression does not confirm it (a third bird or a common cause may be behind it);
 * fewer: fewer replies than both kinds of surrogates; none: no such thing was seen.
 */
export type EdgeKind = 'reply' | 'pairwise' | 'fewer' | 'none';

export interface NetworkEdge extends PairMeasure, GapMeasure {
  kind: EdgeKind;
  excessLow: number;
  excessHigh: number;
  leak: number;
  rateRatio: number;
  rateRatioLow: number;
  rateRatioHigh: number;
  pInfluence: number;
  qInfluence: number;
}

/** Joins what was measured of every pair and says what kind of edge it is. */
export function judgeEdges(measures: readonly PairMeasure[], influences: readonly Influence[], ranges: readonly ExcessRange[], gaps: readonly GapMeasure[], settings: NetworkSettings): NetworkEdge[] {
  const byPair = new Map(influences.map((f) => [`${f.caller}\n${f.replier}`, f]));
  const found = measures.map((m) => byPair.get(`${m.caller}\n${m.replier}`));
  const q = adjustFalseDiscovery(found.map((f) => f?.p ?? NaN));
  return measures.map((m, k) => {
    const { low, high, leak } = ranges[k];
    const f = found[k];
    const ratio = f ? [f.rateRatio, f.rateRatio * Math.exp(-1.959964 * f.logError), f.rateRatio * Math.exp(1.959964 * f.logError)] : [NaN, NaN, NaN];
    const stands = m.q <= settings.falseShare;
    const isMore = stands && m.excess > 0 && (Number.isNaN(low) ? m.excess : low) > leak + (settings.leastRatio - 1) * m.chance;
    const isConfirmed = f !== undefined && ratio[1] > settings.leastRateRatio && q[k] <= settings.falseShare;
    const kind: EdgeKind = isMore ? (isConfirmed ? 'reply' : 'pairwise') : stands && m.z < 0 ? 'fewer' : 'none';
    return {
      ...m, ...gaps[k], kind, excessLow: low, excessHigh: high, leak, rateRatio: ratio[0], rateRatioLow: ratio[1], rateRatioHigh: ratio[2],
      pInfluence: f?.p ?? NaN, qInfluence: q[k],
    };
  });
}
