import { assignPairs } from './assign-pairs.js';
import type { WeightedPair } from './assign-pairs.js';
import type { TimedCall } from './types.js';

export interface DiarizationOptions {
  /** Seconds on both sides of every boundary of a reference call that are not scored. Default 0. */
  collarSec?: number;
  /** Stretch that is evaluated, [from, to) in seconds; default everything. */
  fromSec?: number;
  toSec?: number;
  /** Leave out the time in which two or more reference birds call at once. Default false. */
  skipOverlap?: boolean;
  /**
   * 'identity' (default): a reported name means the bird of that name, as in our tables. 'optimal': reported names are mapped one to one
   * to reference names so that their common time is largest, as NIST does for systems that cannot know names.
   */
  mapping?: 'identity' | 'optimal';
}

/** Bird-seconds: time in which two birds call counts twice. */
export interface DiarizationTimes {
  /** Reference time that is scored, the denominator. */
  scoredSec: number;
  missedSec: number;
  falseAlarmSec: number;
  /** Time given to another bird. */
  confusedSec: number;
}

export interface DiarizationResult extends DiarizationTimes {
  /** (missed + false alarm + confused) / scored; NaN where nothing is scored. */
  errorRate: number;
  /** Reported name to reference name. */
  mapping: Map<string, string>;
}

/** One stretch of time in which nothing changes. */
export interface DiarizationSegment extends DiarizationTimes {
  startSec: number;
}

/**
 * Diarization error rate after NIST's Rich Transcription evaluations (RT-06 plan): the sum over segments of duration times
 * (max(Nref, Nsys) - Ncorrect), divided by the sum of duration times Nref. The collar lies around reference boundaries only. Calls of one
 * bird that overlap each other count once. Filter untagged callers out beforehand, or leave them in to score them as one more bird.
 */
export function measureDiarization(
  calls: readonly TimedCall[], labels: readonly TimedCall[], options: DiarizationOptions = {},
): DiarizationResult {
  const mapping = options.mapping === 'optimal' ? mapBirds(calls, labels, options) : identityMapping(calls);
  const total: DiarizationTimes = { scoredSec: 0, missedSec: 0, falseAlarmSec: 0, confusedSec: 0 };
  for (const segment of diarizationSegments(calls, labels, options, mapping)) addTimes(total, segment, 1);
  return { ...total, errorRate: diarizationErrorRate(total), mapping };
}

/** (missed + false alarm + confused) / scored, NaN where nothing is scored. */
export function diarizationErrorRate(times: DiarizationTimes): number {
  return times.scoredSec > 0 ? (times.missedSec + times.falseAlarmSec + times.confusedSec) / times.scoredSec : NaN;
}

/** Adds `weight` times `from` to `to`. */
export function addTimes(to: DiarizationTimes, from: DiarizationTimes, weight: number): void {
  to.scoredSec += weight * from.scoredSec;
  to.missedSec += weight * from.missedSec;
  to.falseAlarmSec += weight * from.falseAlarmSec;
  to.confusedSec += weight * from.confusedSec;
}

interface Boundary {
  timeSec: number;
  kind: 'reference' | 'system' | 'unscored';
  bird: string;
  step: 1 | -1;
}

/**
 * The scored stretches between neighbouring boundaries in time order, with their share of each kind of error.
 * @param mapping reported name to reference name; names that are missing in it match no bird.
 */
export function diarizationSegments(
  calls: readonly TimedCall[], labels: readonly TimedCall[], options: DiarizationOptions,
  mapping: ReadonlyMap<string, string> = identityMapping(calls),
): DiarizationSegment[] {
  const boundaries = listBoundaries(calls, labels, options);
  const reference = new ActiveBirds();
  const system = new ActiveBirds();
  let unscored = 0;
  const segments: DiarizationSegment[] = [];
  for (let i = 0; i < boundaries.length; i++) {
    const { kind, bird, step, timeSec } = boundaries[i];
    if (kind === 'reference') reference.change(bird, step);
    else if (kind === 'system') system.change(bird, step);
    else unscored += step;
    const lengthSec = i + 1 < boundaries.length ? boundaries[i + 1].timeSec - timeSec : 0;
    if (lengthSec <= 0 || unscored > 0 || (options.skipOverlap && reference.size > 1)) continue;
    if (reference.size === 0 && system.size === 0) continue;
    let correct = 0;
    for (const name of system.names()) if (mapping.has(name) && reference.has(mapping.get(name)!)) correct++;
    segments.push({
      startSec: timeSec,
      scoredSec: lengthSec * reference.size,
      missedSec: lengthSec * Math.max(0, reference.size - system.size),
      falseAlarmSec: lengthSec * Math.max(0, system.size - reference.size),
      confusedSec: lengthSec * (Math.min(reference.size, system.size) - correct),
    });
  }
  return segments;
}

/** Birds that are calling, with how many of their calls are open. */
class ActiveBirds {
  private readonly open = new Map<string, number>();

  change(bird: string, step: number): void {
    const count = (this.open.get(bird) ?? 0) + step;
    if (count > 0) this.open.set(bird, count);
    else this.open.delete(bird);
  }

  get size(): number {
    return this.open.size;
  }

  has(bird: string): boolean {
    return this.open.has(bird);
  }

  names(): IterableIterator<string> {
    return this.open.keys();
  }
}

function listBoundaries(calls: readonly TimedCall[], labels: readonly TimedCall[], options: DiarizationOptions): Boundary[] {
  const { collarSec = 0, fromSec = -Infinity, toSec = Infinity } = options;
  const boundaries: Boundary[] = [];
  const add = (kind: Boundary['kind'], bird: string, startSec: number, endSec: number): void => {
    const start = Math.max(startSec, fromSec);
    const end = Math.min(endSec, toSec);
    if (!(end > start)) return;
    boundaries.push({ timeSec: start, kind, bird, step: 1 }, { timeSec: end, kind, bird, step: -1 });
  };
  for (const call of calls) add('system', call.bird, call.onsetSec, call.offsetSec);
  for (const label of labels) {
    add('reference', label.bird, label.onsetSec, label.offsetSec);
    if (collarSec <= 0) continue;
    add('unscored', '', label.onsetSec - collarSec, label.onsetSec + collarSec);
    add('unscored', '', label.offsetSec - collarSec, label.offsetSec + collarSec);
  }
  // Closings before openings, so that calls that touch do not count as overlapping; then by name, for the same sums in any row order.
  return boundaries.sort((a, b) =>
    a.timeSec - b.timeSec || a.step - b.step || (a.kind < b.kind ? -1 : a.kind > b.kind ? 1 : 0) || (a.bird < b.bird ? -1 : a.bird > b.bird ? 1 : 0));
}

function identityMapping(calls: readonly TimedCall[]): Map<string, string> {
  return new Map(calls.map((call) => [call.bird, call.bird]));
}

/** One-to-one mapping of reported to reference names with the largest common time, the collar not regarded. */
function mapBirds(calls: readonly TimedCall[], labels: readonly TimedCall[], options: DiarizationOptions): Map<string, string> {
  const names = [...new Set(calls.map((c) => c.bird))].sort();
  const references = [...new Set(labels.map((l) => l.bird))].sort();
  const pairs: WeightedPair[] = [];
  names.forEach((name, row) => references.forEach((bird, column) => {
    const weight = commonTimeSec(calls.filter((c) => c.bird === name), labels.filter((l) => l.bird === bird), options);
    if (weight > 0) pairs.push({ row, column, weight });
  }));
  return new Map(assignPairs(pairs).map(({ row, column }) => [names[row], references[column]]));
}

/** Time in which one reported name and one reference bird call together. */
function commonTimeSec(calls: readonly TimedCall[], labels: readonly TimedCall[], options: DiarizationOptions): number {
  let sum = 0;
  const span = { fromSec: options.fromSec, toSec: options.toSec };
  for (const segment of diarizationSegments(calls, labels, span, new Map())) {
    // With one name on either side and nothing mapped, time in which both call is all counted as confused.
    sum += segment.confusedSec;
  }
  return sum;
}
