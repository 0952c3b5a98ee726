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
}

const SURVEY_SEC = 60;
const CELL_SEC = 10;

/** Plans the cells of a study of a given length, seconds. A short rest joins the last survey cell. */
export function planCells(durationSec: number, longestCallSec: number): CellPlan {
  return {
    surveySec: SURVEY_SEC,
    surveyCount: Math.max(1, Math.round(durationSec / SURVEY_SEC)),
    cellSec: CELL_SEC,
    cellCount: Math.max(1, Math.ceil(durationSec / CELL_SEC)),
    haloSec: Math.min(2, longestCallSec + 0.1),
    durationSec,
  };
}

/** Span of a survey cell, seconds; the last one reaches to the end. */
export function findSurveySpan(plan: CellPlan, index: number): [number, number] {
  return [index * plan.surveySec, index === plan.surveyCount - 1 ? plan.durationSec : (index + 1) * plan.surveySec];
}

/** Survey cell that holds a time. */
export function findSurveyIndex(plan: CellPlan, tSec: number): number {
  return Math.min(plan.surveyCount - 1, Math.max(0, Math.floor(tSec / plan.surveySec)));
}
