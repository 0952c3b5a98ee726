import { hypot } from '../numeric/elementary.js';
import { addCoarse, findFineJumps } from './clock-fine-jumps.js';
import type { LagReadings } from './clock-readings.js';
import { collectBallots, countBetween, dropStrays, readWindow, voteWindows, type RecorderGroups, type StartGuess, type StartWindow } from './clock-start.js';
import { readOffset, type ClockJump, type ClockModel, type RecorderClock } from './clock.js';

export interface JoinInput {
  recorderOfTrack: readonly number[];
  coarse: ClockModel;
  durationSec: number;
}

/** What joining the recorders to the reference gives, one entry per recorder. */
export interface JoinedRecorders {
  /** Recorders whose clocks can be fitted, the reference among them. */
  usable: Set<number>;
  /** What the clock is beyond the coarse one, window by window. */
  corrections: StartWindow[][];
  /** Steps too small for the coarse clock. */
  jumps: ClockJump[][];
  /** Uncertainty from rival offsets, ms. */
  doubtMs: number[];
}

interface Bond { pair: RecorderGroups; windows: StartWindow[]; doubtMs: number; strength: number }

const LEAST_READINGS = 4;

/**
 * Joins groups of recorders, the surest two first, until nothing more can be told. What a join settles serves all readings of both groups afterwards,
 * so that three recorders close their loop.
 */
export function joinRecorders(readings: LagReadings, input: JoinInput): JoinedRecorders {
  const { recorderOfTrack, coarse, durationSec } = input;
  const out: JoinedRecorders = { usable: new Set([0]), corrections: coarse.map(() => []), jumps: coarse.map(() => []), doubtMs: coarse.map(() => 0) };
  const readMs = (q: number, t: number): number => readOffset(coarse[q], t) * 1e3 + readWindow(out.corrections[q], t);
  const guessOf = ({ first, second }: RecorderGroups): StartGuess => ({ readMs, rateSpanPpm: Math.max(...[...first, ...second].filter((q) => q > 0).map((q) => findRateSpan(coarse[q]))) });
  let groups = coarse.map((_, r) => new Set([r]));
  let bonds: Bond[] = [];
  const bind = (first: ReadonlySet<number>, second: ReadonlySet<number>): Bond[] => {
    const pair = { first, second };
    if (countBetween(readings, recorderOfTrack, pair) < LEAST_READINGS) return [];
    const windows = voteWindows(readings, recorderOfTrack, pair, guessOf(pair), durationSec);
    return windows.length ? [{ pair, windows, ...judgeWindows(windows) }] : [];
  };
  groups.forEach((g, k) => groups.slice(k + 1).forEach((h) => bonds.push(...bind(g, h))));
  while (bonds.length > 0) {
    const { pair, windows, doubtMs } = bonds.reduce((a, b) => (b.doubtMs < a.doubtMs || (b.doubtMs === a.doubtMs && b.strength > a.strength) ? b : a));
    join(pair, windows, doubtMs);
    const joined = new Set([...pair.first, ...pair.second].sort((a, b) => a - b));
    groups = groups.filter((g) => g !== pair.first && g !== pair.second);
    bonds = bonds.filter((b) => groups.includes(b.pair.first as Set<number>) && groups.includes(b.pair.second as Set<number>));
    for (const g of groups) bonds.push(...(Math.min(...g) < Math.min(...joined) ? bind(g, joined) : bind(joined, g)));
    groups.push(joined);
  }
  out.usable = groups.find((g) => g.has(0))!;
  return out;

  function join(pair: RecorderGroups, windows: readonly StartWindow[], doubtMs: number): void {
    const root = Math.min(...pair.second);
    const totals = dropStrays(addCoarse(addSeries(windows, out.corrections[root]), coarse[root]));
    const times = new Set(totals.map((w) => w.tSec));
    // A step of several recorders at once is none that was missed so far: only single ones are searched.
    const steps = pair.second.size > 1 ? [] : findFineJumps(totals, coarse[root], (from, to) => collectBallots(readings, recorderOfTrack, pair, guessOf(pair), from, to));
    for (const q of pair.second) {
      out.corrections[q] = addSeries(windows.filter((w) => times.has(w.tSec)), out.corrections[q]);
      out.jumps[q].push(...steps);
      out.doubtMs[q] = hypot(out.doubtMs[q], doubtMs);
    }
  }
}

/** A coarse clock of many knots knows its rate well; of few, hardly. */
function findRateSpan(coarse: RecorderClock): number {
  const span = coarse.knotSec[coarse.knotSec.length - 1] - coarse.knotSec[0];
  return Math.round(Math.min(150, 8 + 5000 / Math.max(1, span)));
}

/** The surest window vouches for those that agree with it; two that differ bear each other out no further than that. */
function judgeWindows(windows: readonly StartWindow[]): { doubtMs: number; strength: number } {
  const apart = windows.length === 2 ? Math.abs(windows[1].offsetMs - windows[0].offsetMs - (windows[0].ratePpm + windows[1].ratePpm) * 5e-4 * (windows[1].tSec - windows[0].tSec)) : 0;
  const doubtMs = Math.min(...windows.map((w) => w.doubtMs));
  return { doubtMs: hypot(doubtMs, apart > AGREEING_MS ? apart / 2 : 0), strength: windows.reduce((s, w) => s + w.strength, 0) };
}

const AGREEING_MS = 0.25;
const SLOPE_SEC = 30;

/** Sum of two series at the times of the longer one. */
function addSeries(a: readonly StartWindow[], b: readonly StartWindow[]): StartWindow[] {
  const [base, other] = a.length >= b.length ? [a, b] : [b, a];
  if (other.length === 0) return [...base];
  return base.map((w) => ({
    ...w, offsetMs: w.offsetMs + readWindow(other, w.tSec),
    ratePpm: w.ratePpm + (1e3 * (readWindow(other, w.tSec + SLOPE_SEC) - readWindow(other, w.tSec - SLOPE_SEC))) / (2 * SLOPE_SEC),
  }));
}
