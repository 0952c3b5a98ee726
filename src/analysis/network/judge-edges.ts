import type { Influence } from './fit-influence.js';
import type { GapMeasure } from './measure-gaps.js';
import type { IndirectPaths } from './indirect-paths.js';
import type { PairMeasure } from './measure-pair.js';
import { adjustFalseDiscovery } from './multiple-tests.js';
import type { ExcessRange } from './propagate-errors.js';
import type { NetworkSettings } from './types.js';

/**
 * reply: more replies than both kinds of surrogates by the least ratio, than confusion of birds could feign, net of everything in the regression, and
 * more than missing calls of other birds could hide from it;
 * pairwise: more than the surrogates and confusion, but not so confirmed (a third bird or a common cause may be behind it);
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
  /** What the lower end of the rate ratio must exceed: the least rate ratio, and what missing and wrongly given calls of other birds could feign. */
  rateRatioNeeded: number;
  /** Excess that paths over other birds would give, to first order. */
  indirectExcess: number;
  /** Of a pairwise pair: the bird over which it may be indirect; '' where no such path is strong enough. */
  through: string;
  pInfluence: number;
  qInfluence: number;
}

/** A pairwise pair may be indirect where paths over other birds would give so much of its excess. Common practice, no source. */
const LEAST_PATH_SHARE = 0.25;

/** Joins what was measured of every pair and says what kind of edge it is. */
export function judgeEdges(
  measures: readonly PairMeasure[], influences: readonly Influence[], ranges: readonly ExcessRange[], gaps: readonly GapMeasure[], paths: readonly IndirectPaths[], settings: NetworkSettings,
): NetworkEdge[] {
  const byPair = new Map(influences.map((f) => [`${f.caller}\n${f.replier}`, f]));
  const found = measures.map((m) => byPair.get(`${m.caller}\n${m.replier}`));
  const q = adjustFalseDiscovery(found.map((f) => f?.p ?? NaN));
  return measures.map((m, k) => {
    const { low, high, leak } = ranges[k];
    const f = found[k];
    const ratio = f ? [f.rateRatio, f.rateRatio * Math.exp(-1.959964 * f.logError), f.rateRatio * Math.exp(1.959964 * f.logError)] : [NaN, NaN, NaN];
    const stands = m.q <= settings.falseShare;
    const isMore = stands && m.excess > 0 && (Number.isNaN(low) ? m.excess : low) > leak + (settings.leastRatio - 1) * m.chance;
    const needed = settings.leastRateRatio + (paths[k].hidden + leak) / paths[k].base;
    const isConfirmed = f !== undefined && ratio[1] > needed && q[k] <= settings.falseShare;
    const kind: EdgeKind = isMore ? (isConfirmed ? 'reply' : 'pairwise') : stands && m.z < 0 ? 'fewer' : 'none';
    return {
      ...m, ...gaps[k], kind, excessLow: low, excessHigh: high, leak, rateRatio: ratio[0], rateRatioLow: ratio[1], rateRatioHigh: ratio[2],
      rateRatioNeeded: needed, indirectExcess: paths[k].excess, through: kind === 'pairwise' && paths[k].excess >= LEAST_PATH_SHARE * m.excess ? paths[k].through : '',
      pInfluence: f?.p ?? NaN, qInfluence: q[k],
    };
  });
}
