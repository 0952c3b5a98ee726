import { normalCdf } from '../numeric/normal.js';

export interface TrendState {
  /** Values that do not yet make a point. */
  pending: { tSec: number; value: number }[];
  points: { tSec: number; value: number }[];
  toldDb: number;
}

export interface Trend {
  /** Fitted change from the first to the last point. */
  changeDb: number;
  spanSec: number;
  /** One-sided chance of so steady a fall without a trend. */
  chance: number;
}

const MOST_POINTS = 60;
const LEAST_POINTS = 10;
/** A fall of so much is worth a look; after a warning, so much more is. Common practice, no source. */
const LEAST_FALL_DB = 6;
const MORE_FALL_DB = 3;
/** A look every few minutes at a dozen tracks for weeks is some 10^5 looks. */
const MOST_CHANCE = 1e-6;

/**
 * Fall of a series: median of the slopes of all pairs (Theil 1950; Sen 1968, Journal of the American Statistical Association 63, 1379-1389) and
 * Kendall's test of no trend with its normal approximation and continuity correction (Mann 1945, Econometrica 13, 245-259), good from 10 points on.
 */
export function measureTrend(points: readonly { tSec: number; value: number }[]): Trend {
  const n = points.length;
  const slopes: number[] = [];
  let s = 0;
  for (let i = 0; i < n; i++) {
    for (let k = i + 1; k < n; k++) {
      slopes.push((points[k].value - points[i].value) / (points[k].tSec - points[i].tSec));
      s += Math.sign(points[k].value - points[i].value);
    }
  }
  slopes.sort((a, b) => a - b);
  const m = slopes.length;
  const slope = m === 0 ? 0 : (slopes[(m - 1) >> 1] + slopes[m >> 1]) / 2;
  const spanSec = n > 0 ? points[n - 1].tSec - points[0].tSec : 0;
  return { changeDb: slope * spanSec, spanSec, chance: normalCdf((s + 1) / Math.sqrt((n * (n - 1) * (2 * n + 5)) / 18)) };
}

/** Watches a level of every track for a steady fall. A point is the median of `perPoint` values. */
export class TrendWatch {
  constructor(trackCount: number, private readonly perPoint: number, private readonly state: TrendState[] = Array.from({ length: trackCount }, () => ({ pending: [], points: [], toldDb: 0 }))) {}

  /** Takes a value; gives the trend when it is worth a warning. */
  add(track: number, tSec: number, value: number): Trend | undefined {
    const s = this.state[track];
    s.pending.push({ tSec, value });
    if (s.pending.length < this.perPoint) return undefined;
    s.points.push({ tSec, value: medianOf(s.pending.map((p) => p.value)) });
    s.pending = [];
    if (s.points.length > MOST_POINTS) s.points.shift();
    if (s.points.length < LEAST_POINTS) return undefined;
    const trend = measureTrend(s.points);
    if (trend.changeDb > -LEAST_FALL_DB / 2) s.toldDb = 0;
    if (trend.chance > MOST_CHANCE || trend.changeDb > Math.min(-LEAST_FALL_DB, s.toldDb - MORE_FALL_DB)) return undefined;
    s.toldDb = trend.changeDb;
    return trend;
  }

  save(): TrendState[] { return this.state; }
}

function medianOf(v: number[]): number {
  v.sort((a, b) => a - b);
  return (v[(v.length - 1) >> 1] + v[v.length >> 1]) / 2;
}
