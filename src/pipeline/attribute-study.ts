import { attributeCandidates, type Models } from '../attribute/attribution.js';
import { makeCallRows, makeSoundRows } from '../attribute/make-tables.js';
import { resolveSettings, type AnalysisSettings, type SettingsRequest } from '../evidence/settings.js';
import { readOffset, readRatePpm } from '../model/clock.js';
import { firstForest } from '../model/learned-first.js';
import { ownForest } from '../model/learned-own.js';
import { untaggedForest } from '../model/learned-untagged.js';
import { VolaryError } from '../schema/errors.js';
import type { CallRow, ClockRow, SoundRow, TrackHourRow } from '../schema/rows.js';
import type { StudyManifest } from '../study/manifest.js';
import type { Timeline } from '../study/timeline.js';
import { findSurveyIndex, planCells, type CellPlan } from './cells.js';
import { meanFloorDb } from './floor-table.js';
import { gatherEvidence, type CellRunner, type Evidence } from './gather-evidence.js';

export interface StudyTables {
  calls: CallRow[];
  sounds: SoundRow[];
  clock: ClockRow[];
  tracks: TrackHourRow[];
}

export interface StudyResult extends StudyTables {
  settings: AnalysisSettings;
  gainDb: number[];
  durationSec: number;
}

export interface AttributeOptions {
  maxOffsetSec?: number;
  onProgress?: (stage: string, done: number, total: number) => void;
  models?: Models;
}

const HOUR_SEC = 3600;
/** Clock rows are written this far apart at least, seconds. */
const CLOCK_STEP_SEC = 10;

/** What a manifest asks of the analysis. */
export function requestSettings(manifest: StudyManifest): SettingsRequest {
  return { bandHz: manifest.settings?.band_hz, callSec: manifest.settings?.call_s };
}

/** Settings and plan of a study: the same for every runner. */
export function planStudy(timeline: Timeline, manifest: StudyManifest): { settings: AnalysisSettings; plan: CellPlan } {
  const settings = resolveSettings(timeline.sampleRateHz, requestSettings(manifest));
  return { settings, plan: planCells(timeline.durationSec, settings.callSec[1]) };
}

/**
 * The main job: from the recordings of a study to the tables of who called when.
 * @param makeRunner gives the runner of the jobs that read audio (in line, worker threads)
 * @throws VolaryError 'not-fit' when there is nothing to attribute from
 */
export async function attributeStudy(
  timeline: Timeline, manifest: StudyManifest, makeRunner: (settings: AnalysisSettings, plan: CellPlan) => CellRunner, options: AttributeOptions = {},
): Promise<StudyResult> {
  if (timeline.tracks.length < 2) {
    throw new VolaryError('not-fit', { what: 'attribution compares tracks', got: `${timeline.tracks.length} usable`, expected: 'at least two', mend: "run 'volary check' to see why" });
  }
  const { settings, plan } = planStudy(timeline, manifest);
  const evidence = await gatherEvidence(makeRunner(settings, plan), timeline, settings, plan, { maxOffsetSec: options.maxOffsetSec ?? 60, onProgress: options.onProgress });
  const tables = makeTables(timeline, manifest, settings, plan, evidence, options.models ?? { first: firstForest, own: ownForest, untagged: untaggedForest });
  return { ...tables, settings, gainDb: [...evidence.gains.gainDb], durationSec: timeline.durationSec };
}

/** Tables from evidence: reads no audio. */
export function makeTables(timeline: Timeline, manifest: StudyManifest, settings: AnalysisSettings, plan: CellPlan, evidence: Evidence, models: Models): StudyTables {
  const birds = timeline.tracks.map((t) => t.bird);
  const bandShare = 10 * Math.log10((settings.bandBins[1] - settings.bandBins[0]) / (settings.fftSize / 2));
  const floorAt = (track: number, tSec: number): number => meanFloorDb(evidence.floors[findSurveyIndex(plan, tSec)][track], settings.bandBins) + bandShare;
  const context = { birds, startUtc: manifest.start, hopSec: settings.hopFrames / settings.sampleRateHz, fftSize: settings.fftSize, bandFloorDb: floorAt };
  const attribution = attributeCandidates(evidence.candidates, evidence.gains, models);
  return {
    calls: makeCallRows(evidence.candidates, attribution, context),
    sounds: makeSoundRows(evidence.candidates, attribution, evidence.cells.flatMap((c) => c.lostRuns), context),
    clock: makeClockRows(timeline, evidence),
    tracks: makeTrackRows(timeline, plan, evidence, floorAt),
  };
}

function makeClockRows(timeline: Timeline, evidence: Evidence): ClockRow[] {
  const rows: ClockRow[] = [];
  evidence.clock.forEach((clock, r) => {
    if (r === 0 || !timeline.tracks.some((t) => t.recorderIndex === r)) return;
    const step = Math.max(CLOCK_STEP_SEC, timeline.durationSec / 10000);
    for (let t = 0; t <= timeline.durationSec; t += step) {
      let k = 0;
      while (k < clock.knotSec.length - 1 && Math.abs(clock.knotSec[k + 1] - t) < Math.abs(clock.knotSec[k] - t)) k++;
      rows.push({ recorder: timeline.recorders[r], tRefSec: t, offsetSec: readOffset(clock, t), ppm: readRatePpm(clock, t), uncertaintySec: clock.uncertaintySec[k] });
    }
  });
  return rows;
}

function makeTrackRows(timeline: Timeline, plan: CellPlan, evidence: Evidence, floorAt: (track: number, tSec: number) => number): TrackHourRow[] {
  const rows: TrackHourRow[] = [];
  timeline.tracks.forEach((track, j) => {
    for (let start = 0; start < timeline.durationSec; start += HOUR_SEC) {
      const end = Math.min(timeline.durationSec, start + HOUR_SEC);
      let lost = 0;
      for (let c = Math.floor(start / plan.cellSec); c * plan.cellSec < end && c < plan.cellCount; c++) {
        lost += Math.min(plan.cellSec, evidence.cells[c].lostSec[j] + evidence.cells[c].missingSec[j]);
      }
      const usableSec = Math.max(0, end - start - lost);
      rows.push({
        track: track.bird, recorder: track.recorder, startSec: start, usableSec, noiseFloorDb: floorAt(j, (start + end) / 2),
        gainDb: evidence.gains.gainDb[j], lostShare: Math.min(1, lost / (end - start)),
      });
    }
  });
  return rows;
}
