import type { TrialAccuracy, TrialEstimate } from '../analysis/plan/trial-accuracy.js';
import type { LabelRow } from '../schema/rows.js';
import { scoreCalls } from '../score/score-calls.js';
import type { Score } from '../score/score-calls.js';
import type { Estimate, ReportedCall } from '../score/types.js';
import type { SampleAudio } from '../simulate/repertoire.js';
import type { Scene } from '../simulate/scene.js';
import { simulateScene } from '../simulate/simulate-scene.js';
import { attributeTracks } from './attribute-tracks.js';

/** A recording to simulate. */
export interface TrialRun { scene: Scene; seed: number; sampleAudio?: Record<string, SampleAudio> }

interface RunTables { calls: ReportedCall[]; labels: LabelRow[]; birds: number; sampleRateHz: number; durationSec: number }

/** Silence between runs on the common time axis: longer than any tolerance of scoring. */
const GAP_SEC = 5;

/**
 * Simulates recordings, attributes them as any other, and scores the calls against the truth, all runs together.
 * @param source words for where the scenes come from
 * @param onProgress runs done, fractions between
 * @throws VolaryError 'bad-scene'; 'not-fit' with fewer than two tagged birds
 */
export async function tryPlan(runs: readonly TrialRun[], source: string, onProgress: (done: number) => void = () => {}): Promise<TrialAccuracy> {
  const tables: RunTables[] = [];
  for (const [n, run] of runs.entries()) tables.push(await tryRun(run, (part) => onProgress(n + part)));
  const pooled = scoreRuns(tables);
  const perRun = tables.length > 1 ? tables.map((t) => scoreRuns([t]).rightBird.f1.value) : [pooled.rightBird.f1.value];
  const pick = ({ value, low, high }: Estimate): TrialEstimate => ({ value, low, high });
  return {
    source, seeds: runs.map((r) => r.seed), durationSec: Math.max(...tables.map((t) => t.durationSec)), birds: tables.map((t) => t.birds), sampleRateHz: tables.map((t) => t.sampleRateHz),
    calls: pooled.counts.taggedLabels, rightBird: pick(pooled.rightBird.f1), detection: pick(pooled.detection.f1), ghosts: pick(pooled.ghosts.perTrueCall), onsetErrorMs: pick(pooled.timing.onset.medianMs), perRun,
  };
}

async function tryRun({ scene, seed, sampleAudio }: TrialRun, onPart: (part: number) => void): Promise<RunTables> {
  const made = simulateScene(scene, seed, { sampleAudio, onProgress: (done, total) => onPart((0.5 * done) / total) });
  const stages = new Set<string>();
  const { calls } = await attributeTracks({
    birds: made.tracks.map((t) => t.bird), signals: made.tracks.map((t) => t.samples), recorders: made.tracks.map((t) => t.recorder), sampleRateHz: made.sampleRateHz,
  }, { onProgress: (stage, done, total) => onPart(Math.min(0.99, 0.5 + 0.1 * (stages.add(stage).size - 1 + done / Math.max(1, total)))) });
  return {
    calls, labels: made.truth.map((t) => ({ bird: t.bird, onsetSec: t.onsetSec, offsetSec: t.offsetSec, extra: {} })), birds: made.tracks.length, sampleRateHz: made.sampleRateHz,
    durationSec: Math.max(...made.tracks.map((t) => t.samples.length)) / made.sampleRateHz,
  };
}

/** One run after the other on one axis. */
function scoreRuns(tables: readonly RunTables[]): Score {
  const calls: ReportedCall[] = [], labels: LabelRow[] = [];
  let start = 0;
  for (const t of tables) {
    const shift = start;
    calls.push(...t.calls.map((c) => ({ bird: c.bird, probability: c.probability, onsetSec: c.onsetSec + shift, offsetSec: c.offsetSec + shift })));
    labels.push(...t.labels.map((l) => ({ ...l, onsetSec: l.onsetSec + shift, offsetSec: l.offsetSec + shift })));
    start += t.durationSec + GAP_SEC;
  }
  return scoreCalls(calls, labels);
}
