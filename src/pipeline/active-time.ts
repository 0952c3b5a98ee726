/** Where in a study there may be more than noise: found by the survey, asked for by extraction. */
import type { AnalysisSettings } from '../evidence/settings.js';
import { readOffset, type ClockModel } from '../model/clock.js';
import { findSlotSec, findSurveySlots, type CellPlan } from './cells.js';
import type { FloorTable } from './floor-table.js';
import { bandNoise, type SurveyResult } from './survey-cell.js';

/** Per recorder one bit per slot of its own file time, the lowest first, already widened by the halo. */
export type ActiveTime = Uint8Array[];

/** A stretch to extract, slots [first, end) on the reference clock; onsets in [ownFromSec, ownToSec) are its own. */
export interface Span {
  first: number;
  end: number;
  ownFromSec: number;
  ownToSec: number;
}

/** Around what is active this much is looked at as well: elements of a string are 62 ms apart at most, each active itself, edges are sought in 25 ms (45 ms before sound that no track leads), windows and filters reach 10 ms. */
const HALO_SEC = 0.06;
/** Stretches up to this length are looked at in one piece. */
const WHOLE_SEC = 12;
/** Offsets of recorders are read this many slots apart. */
const CLOCK_SLOTS = 64;
/** A floor that is used this much below what a cell measured makes the cell active throughout. */
const LOWERED = 0.8;

/** Most frames of a span. */
export function countSpanFrames(plan: CellPlan, settings: AnalysisSettings): number {
  const slots = Math.max(WHOLE_SEC, plan.cellSec + 2 * plan.haloSec) / findSlotSec(settings);
  return (Math.ceil(slots) + 4) * Math.round(findSlotSec(settings) * settings.sampleRateHz);
}

/** Joins the surveys' cells and widens what is active. */
export function joinActivity(
  surveys: readonly SurveyResult[], floors: FloorTable, response: ArrayLike<number>, recorderOfTrack: readonly number[], plan: CellPlan, settings: AnalysisSettings,
): ActiveTime {
  const recorderCount = surveys[0].active.length;
  const [, slotCount] = findSurveySlots(plan, settings, plan.surveyCount - 1);
  const halo = Math.ceil(HALO_SEC / findSlotSec(settings));
  return Array.from({ length: recorderCount }, (_, r) => {
    const bits = new Uint8Array(Math.ceil(slotCount / 8));
    surveys.forEach((survey, cell) => {
      const [first, end] = findSurveySlots(plan, settings, cell);
      const isLowered = survey.floors.some((own, j) => recorderOfTrack[j] === r && own.length > 0 && bandNoise(floors[cell][j], response) < LOWERED * bandNoise(own, response));
      for (let s = first; s < end; s++) {
        if (!isLowered && !hasBit(survey.active[r], s - first)) continue;
        for (let q = Math.max(0, s - halo); q <= Math.min(slotCount - 1, s + halo); q++) bits[q >> 3] |= 1 << (q & 7);
      }
    });
    return bits;
  });
}

/** Share of slots that are active on the recorder where most are. */
export function measureActiveShare(active: ActiveTime): number {
  return Math.max(...active.map((bits) => {
    let count = 0;
    for (let k = 0; k < bits.length; k++) for (let v = bits[k]; v; v &= v - 1) count++;
    return count / (8 * bits.length);
  }));
}

function hasBit(bits: Uint8Array, k: number): boolean {
  return k >= 0 && k < 8 * bits.length && (bits[k >> 3] & (1 << (k & 7))) !== 0;
}

/** Gives the spans of cells: pure functions of activity and clock, so that neighbours agree on where one ends and the next begins. */
export class SpanFinder {
  private readonly slotSec: number;
  private readonly slotCount: number;
  /** Per recorder and block of CLOCK_SLOTS: least and largest offset, in slots. */
  private readonly offsets: Map<number, [number, number]>[];

  constructor(private readonly active: ActiveTime, private readonly clock: ClockModel, private readonly plan: CellPlan, settings: AnalysisSettings) {
    this.slotSec = findSlotSec(settings);
    this.slotCount = Math.ceil(plan.durationSec / this.slotSec);
    this.offsets = active.map(() => new Map());
  }

  /** Spans of a cell in order of time: those that begin in it, and its part of what is too long for one piece. */
  list(cell: number): Span[] {
    const { plan, slotSec } = this;
    const cellFirst = this.findCellSlot(cell), cellEnd = this.findCellSlot(cell + 1);
    const halo = Math.ceil(plan.haloSec / slotSec), most = Math.floor(WHOLE_SEC / slotSec);
    const out: Span[] = [];
    for (let s = cellFirst; s < cellEnd; s++) {
      if (!this.isActive(s)) continue;
      let end = s + 1;
      const limit = s + Math.max(most + 1, cellEnd + halo - s);
      while (end < limit && this.isActive(end)) end++;
      let first = s;
      if (s === cellFirst) while (first > cellFirst - most - 1 && this.isActive(first - 1)) first--;
      const isShort = end - first <= most;
      if (isShort) {
        if (first === s) out.push({ first, end, ownFromSec: -Infinity, ownToSec: Infinity });
      } else {
        const from = Math.max(first, cellFirst - halo), to = Math.min(end, cellEnd + halo);
        out.push({
          first: from, end: to, ownFromSec: first >= cellFirst ? -Infinity : cell * plan.cellSec,
          ownToSec: end <= cellEnd ? Infinity : (cell + 1) * plan.cellSec,
        });
      }
      s = end;
    }
    return out;
  }

  private findCellSlot(cell: number): number {
    return Math.min(this.slotCount, Math.ceil((cell * this.plan.cellSec) / this.slotSec));
  }

  private isActive(slot: number): boolean {
    if (slot < 0 || slot >= this.slotCount) return false;
    return this.active.some((bits, r) => {
      if (r === 0) return hasBit(bits, slot);
      const [low, high] = this.readOffsets(r, Math.floor(slot / CLOCK_SLOTS));
      for (let q = Math.floor(slot + low); q <= Math.floor(slot + 1 + high); q++) if (hasBit(bits, q)) return true;
      return false;
    });
  }

  private readOffsets(recorder: number, block: number): [number, number] {
    const known = this.offsets[recorder].get(block);
    if (known) return known;
    const at = [block, block + 1].map((b) => readOffset(this.clock[recorder], b * CLOCK_SLOTS * this.slotSec) / this.slotSec);
    const found: [number, number] = [Math.min(...at), Math.max(...at)];
    if (this.offsets[recorder].size > 4096) this.offsets[recorder].clear();
    this.offsets[recorder].set(block, found);
    return found;
  }
}
