import { resolveSettings, type AnalysisSettings, type SettingsRequest } from '../evidence/settings.js';
import type { StudyManifest } from '../study/manifest.js';
import type { Timeline } from '../study/timeline.js';
import { planCells, type CellPlan } from './cells.js';

/** What a manifest asks of the analysis. */
function requestSettings(manifest: StudyManifest): SettingsRequest {
  return { bandHz: manifest.settings?.band_hz, callSec: manifest.settings?.call_s };
}

/** Settings and plan of a study: the same for every runner. */
export function planStudy(timeline: Timeline, manifest: StudyManifest): { settings: AnalysisSettings; plan: CellPlan } {
  const settings = resolveSettings(timeline.sampleRateHz, requestSettings(manifest));
  return { settings, plan: planCells(timeline.durationSec, settings.callSec[1]) };
}
