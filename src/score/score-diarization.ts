import { bootstrapEstimate } from './bootstrap.js';
import type { BootstrapOptions } from './bootstrap.js';
import { addTimes, diarizationErrorRate, diarizationSegments } from './diarization.js';
import type { DiarizationTimes } from './diarization.js';
import type { ScoreOptions, ScoreTables } from './score-tables.js';
import { UNTAGGED } from './types.js';
import type { Estimate, TimedCall } from './types.js';

export interface DiarizationScore extends DiarizationTimes {
  errorRate: Estimate;
}

/** Diarization error rate of the scored birds (names are given, so no mapping is sought), with bootstrap interval over blocks of time. */
export function scoreDiarization(tables: ScoreTables, options: ScoreOptions, bootstrap: BootstrapOptions): DiarizationScore {
  const birds = new Set(tables.birds);
  if (options.untaggedInDiarization) birds.add(UNTAGGED);
  const ofBirds = (rows: readonly TimedCall[]): TimedCall[] => rows.filter((row) => birds.has(row.bird));
  const segments = diarizationSegments(ofBirds(tables.calls), ofBirds(tables.labels), options);
  const perBlock = Array.from({ length: tables.blocks.count }, emptyTimes);
  for (const segment of segments) addTimes(perBlock[tables.blocks.blockOf(segment.startSec)], segment, 1);
  const total = emptyTimes();
  for (const times of perBlock) addTimes(total, times, 1);
  const errorRate = bootstrapEstimate(tables.blocks.count, (drawn) => {
    const times = emptyTimes();
    for (let i = 0; i < drawn.length; i++) addTimes(times, perBlock[i], drawn[i]);
    return diarizationErrorRate(times);
  }, bootstrap);
  return { ...total, errorRate };
}

function emptyTimes(): DiarizationTimes {
  return { scoredSec: 0, missedSec: 0, falseAlarmSec: 0, confusedSec: 0 };
}
