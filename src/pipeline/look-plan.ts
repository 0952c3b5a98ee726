/** Which cells a calibration pass looks at, in what order, and when it has seen enough. */
import type { Candidate } from '../evidence/candidate.js';
import { fitGainsFully } from '../model/fit-gains.js';

/** When a pass may end early. */
export interface LookRule {
  /** Cells of the first batch; every other one makes them half as many again. A pass looks at two batches at least. */
  firstCells: number;
  /** Gains may have moved by this much with the last batch, on any track, dB. */
  movedDb: number;
}

const GROWTH = 1.5;
/** A gain that fewer leads tell of is mostly what the noise floors suggest, however little it moves. */
const LEAST_LEADS = 10;

/**
 * Cuts cells into batches, each of which, and all up to it, lie spread over the whole: cells are taken in the order of the numbers of van der Corput.
 * @param cells in order of time
 * @param firstCount cells of the first batch; where two batches are all there is, they are one, for no pass ends before the second
 */
export function planBatches(cells: readonly number[], firstCount: number): number[][] {
  if (cells.length <= Math.ceil(firstCount * GROWTH)) return cells.length > 0 ? [[...cells]] : [];
  const order = cells.map((cell, k) => ({ cell, rank: reverseBits(k) }));
  // The k-th number of van der Corput is the share of the study at which the k-th cell is taken.
  const byTime = order.map((o, k) => ({ rank: o.rank, k })).sort((a, b) => a.rank - b.rank);
  byTime.forEach(({ k }, place) => { order[k].cell = cells[place]; });
  const batches: number[][] = [];
  for (let from = 0, to = firstCount; from < order.length; from = to, to = Math.ceil(to * GROWTH)) {
    batches.push(order.slice(from, to).map((o) => o.cell).sort((a, b) => a - b));
  }
  return batches;
}

function reverseBits(k: number): number {
  let out = 0;
  for (let unit = 0.5, rest = k; rest > 0; unit /= 2, rest = Math.floor(rest / 2)) out += unit * (rest % 2);
  return out;
}

/** Candidates of each cell looked at, in order of time: batch by batch, so that the evidence of few cells is held at a time, until there is enough. */
export async function lookInBatches(
  batches: readonly (readonly number[])[], isEnough: (found: Candidate[][]) => boolean, look: (cells: readonly number[], batch: number) => Promise<Candidate[][]>,
): Promise<Candidate[][]> {
  const byCell = new Map<number, Candidate[]>();
  let found: Candidate[][] = [];
  for (let b = 0; b < batches.length && !(b > 0 && isEnough(found)); b++) {
    (await look(batches[b], b)).forEach((candidates, k) => byCell.set(batches[b][k], candidates));
    found = [...byCell].sort(([a], [c]) => a - c).map(([, candidates]) => candidates);
  }
  return found;
}

/** Tells whether gains are settled: asked once after each batch, with all that was found so far. */
export class GainWatch {
  private last: Float64Array | undefined;

  constructor(private readonly priorGainDb: readonly number[], private readonly rule: LookRule) {}

  isSettled(found: readonly (readonly Candidate[])[]): boolean {
    const { last } = this;
    const { fit, leadCounts } = fitGainsFully(found.flat(), this.priorGainDb);
    this.last = fit.gainDb;
    return last !== undefined && fit.gainDb.every((gain, j) => leadCounts[j] >= LEAST_LEADS && Math.abs(gain - last[j]) <= this.rule.movedDb);
  }
}
