import { selectValue } from '../evidence/floors.js';
import { log10 } from '../numeric/elementary.js';
import type { SurveyResult } from './survey-cell.js';

/** Noise floors of all tracks for every survey cell: [cell][track], binCount values each. */
export type FloorTable = Float32Array[][];

const REACH_SEC = 1800;
const MOST_ABOVE = 4;
const MOST_BELOW = 0.1;
const SILENT_FLOOR = 1e-13;

/**
 * Floors to use in each cell. A cell's own floor is kept within +6 and -10 dB of the lower quartile of its neighbourhood (half an hour on either
 * side), so that hours of receiver noise stay visible as lost time instead of becoming the floor; cells without sound take the quartile.
 */
export function buildFloorTable(surveys: readonly Pick<SurveyResult, 'floors'>[], trackCount: number, binCount: number, surveySec: number): FloorTable {
  const reach = Math.ceil(REACH_SEC / surveySec);
  return surveys.map((survey, cell) => Array.from({ length: trackCount }, (_, j) => {
    const near: Float32Array[] = [];
    for (let k = Math.max(0, cell - reach); k <= Math.min(surveys.length - 1, cell + reach); k++) {
      if (surveys[k].floors[j].length) near.push(surveys[k].floors[j]);
    }
    const out = new Float32Array(binCount).fill(SILENT_FLOOR);
    const column = new Float32Array(near.length);
    const own = survey.floors[j];
    for (let b = 0; near.length && b < binCount; b++) {
      for (let k = 0; k < near.length; k++) column[k] = near[k][b];
      const reference = selectValue(column, (near.length - 1) >> 2);
      const value = own.length ? Math.min(MOST_ABOVE * reference, Math.max(MOST_BELOW * reference, own[b])) : reference;
      out[b] = Math.max(SILENT_FLOOR, value);
    }
    return out;
  }));
}

/** Mean floor of a spectrum over the band, dB. */
export function meanFloorDb(floor: Float32Array, bins: readonly [number, number]): number {
  let a = 0;
  for (let b = bins[0]; b < bins[1]; b++) a += floor[b];
  return 10 * log10(a / (bins[1] - bins[0]));
}
