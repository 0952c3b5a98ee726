import type { FloorSpectrum } from '../evidence/floors.js';
import type { NoiseFilter } from '../evidence/noise-filter.js';
import type { AnalysisSettings } from '../evidence/settings.js';
import type { CellPlan } from '../pipeline/cells.js';
import { buildFloorTable } from '../pipeline/floor-table.js';
import { SurveyWorker } from '../pipeline/survey-cell.js';
import type { StudyAudio } from '../study/study-audio.js';

/** Floors are taken anew from every stretch of so many seconds, and held against those of a quarter of an hour before. */
export const FLOOR_CELL_SEC = 30;
const MOST_CELLS = 30;
const ENDLESS_CELLS = 2 ** 24;

/** What extraction needs to know of the noise; see `SurveyResult`. */
export interface NoiseState {
  /** By track. */
  floors: Float32Array[];
  filter: NoiseFilter;
  filterLossDb: number[];
}

/** Noise floors of the sound heard so far; what is used now comes from the newest finished cell. */
export class FloorKeeper {
  private readonly surveyor: SurveyWorker;
  private readonly binCount: number;
  private cells: FloorSpectrum[][] = [];
  private newest: Omit<NoiseState, 'floors'> | undefined;

  constructor(module: WebAssembly.Module, private readonly audio: StudyAudio, settings: AnalysisSettings) {
    const plan: CellPlan = {
      surveySec: FLOOR_CELL_SEC, surveyCount: ENDLESS_CELLS, cellSec: FLOOR_CELL_SEC, cellCount: ENDLESS_CELLS, haloSec: 0, durationSec: ENDLESS_CELLS * FLOOR_CELL_SEC, traceHops: 1,
    };
    this.surveyor = new SurveyWorker(module, audio, settings, plan);
    this.binCount = settings.fftSize / 2 + 1;
  }

  /**
   * Surveys a finished cell (from 0, on the recorders' own clocks).
   * @param isLost per track, whether its link was down for most of the cell: then the cell says nothing about its noise
   */
  async take(cell: number, isLost: readonly boolean[]): Promise<void> {
    const { floors, filter, filterLossDb } = await this.surveyor.survey(cell);
    this.cells.push(floors.map((f, j) => (isLost[j] ? new Float32Array(0) : f)));
    if (this.cells.length > MOST_CELLS) this.cells.shift();
    this.newest = { filter, filterLossDb };
  }

  /** What to use from now on; after `take`. */
  get current(): NoiseState {
    if (!this.newest) throw new Error('no cell was surveyed');
    const surveys = this.cells.map((floors) => ({ floors }));
    return { ...this.newest, floors: buildFloorTable(surveys, this.audio.timeline.tracks.length, this.binCount, FLOOR_CELL_SEC)[surveys.length - 1] };
  }

  save(): FloorSpectrum[][] { return this.cells; }

  restore(cells: FloorSpectrum[][]): void { this.cells = cells; }
}
