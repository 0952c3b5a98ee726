import type { AnalysisSettings } from '../evidence/settings.js';
import { SLOT_HOPS } from '../kernels/survey-kernels.js';

/** The grid of time that the work is cut along: pure numbers, the same for any number of workers. */
export interface CellPlan {
  /** Length of a survey cell (noise floors), seconds. */
  surveySec: number;
  surveyCount: number;
  /** Length of an extraction cell, seconds, and the halo read on both sides. */
  cellSec: number;
  cellCount: number;
  haloSec: number;
  durationSec: number;
  /** Hops per step of the activity over time that recorders are first aligned by. */
  traceHops: number;
}

const SURVEY_SEC = 60;
const CELL_SEC = 10;
/** Survey cells are a minute up to this length, two minutes up to twice of it, and so on: the table of floors does not grow on. */
const LONG_SURVEY_SEC = 3 * 86400;
/** Beyond this length activity is kept in steps of four hops. */
const LONG_TRACE_SEC = 12 * 3600;

/** Plans the cells of a study of a given length, seconds. A short rest joins the last survey cell. */
export function planCells(durationSec: number, longestCallSec: number): CellPlan {
  const surveySec = SURVEY_SEC * Math.max(1, Math.ceil(durationSec / LONG_SURVEY_SEC));
  return {
    surveySec,
    surveyCount: Math.max(1, Math.round(durationSec / surveySec)),
    cellSec: CELL_SEC,
    cellCount: Math.max(1, Math.ceil(durationSec / CELL_SEC)),
    haloSec: Math.min(2, longestCallSec + 0.1),
    durationSec,
    traceHops: durationSec > LONG_TRACE_SEC ? 4 : 1,
  };
}

/** Span of a survey cell, seconds; the last one reaches to the end. */
export function findSurveySpan(plan: CellPlan, index: number): [number, number] {
  return [index * plan.surveySec, index === plan.surveyCount - 1 ? plan.durationSec : (index + 1) * plan.surveySec];
}

/** Slots [first, end) of a survey cell on the recorders' file time: whole ones, the last reaching over the end. */
export function findSurveySlots(plan: CellPlan, settings: AnalysisSettings, index: number): [number, number] {
  const slotSec = findSlotSec(settings);
  const [from, to] = findSurveySpan(plan, index);
  return [Math.round(from / slotSec), index === plan.surveyCount - 1 ? Math.max(1, Math.ceil(to / slotSec)) : Math.round(to / slotSec)];
}

/** Length of a slot, seconds: the grain of activity. */
export function findSlotSec(settings: AnalysisSettings): number {
  return (SLOT_HOPS * settings.hopFrames) / settings.sampleRateHz;
}

/** Survey cell that holds a time. */
export function findSurveyIndex(plan: CellPlan, tSec: number): number {
  return Math.min(plan.surveyCount - 1, Math.max(0, Math.floor(tSec / plan.surveySec)));
}
