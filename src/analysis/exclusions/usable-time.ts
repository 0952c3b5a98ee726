import type { ExclusionRow } from '../../schema/analysis-rows.js';
import type { SoundRow, TrackHourRow } from '../../schema/rows.js';

interface Stretch { startSec: number; endSec: number; share: number }

export interface StudyTime {
  hours: readonly TrackHourRow[];
  /** Lost links tell which calls fall into time that does not count. */
  sounds?: readonly SoundRow[];
  exclusions?: readonly ExclusionRow[];
  /** Length of the study, where it is known. */
  durationSec?: number;
}

/**
 * Time in which a bird's data can be used: the usable seconds of every hour of its track, without what is excluded. Within an hour the
 * usable seconds count as spread evenly, so a window that cuts an hour gets its share of them.
 */
export class UsableTime {
  /** Usable seconds by the track table, before anything is excluded. */
  readonly recordedSec: number;
  readonly excludedSec: number;
  private readonly stretches: Stretch[];
  private readonly lost: { startSec: number; endSec: number }[];

  constructor(readonly bird: string, time: StudyTime) {
    const own = time.hours.filter((h) => h.track === bird).sort((a, b) => a.startSec - b.startSec);
    const hours = own.map((h, n) => toStretch(h, own[n + 1]?.startSec, time.durationSec)).filter((s) => s.share > 0);
    this.lost = mergeSpans((time.sounds ?? []).filter((s) => s.kind === 'dropout' && s.track === bird).map((s) => ({ startSec: s.onsetSec, endSec: s.offsetSec })));
    const holes = mergeSpans((time.exclusions ?? []).filter((e) => e.bird === bird || e.bird === ''));
    this.stretches = hours.flatMap((s) => cutOut(s, holes));
    this.recordedSec = hours.reduce((sum, s) => sum + (s.endSec - s.startSec) * s.share, 0);
    this.excludedSec = this.recordedSec - this.measureSec(-Infinity, Infinity);
  }

  get startSec(): number { return this.stretches[0]?.startSec ?? 0; }
  get endSec(): number { return this.stretches[this.stretches.length - 1]?.endSec ?? 0; }

  /** Usable seconds in [fromSec, toSec). */
  measureSec(fromSec: number, toSec: number): number {
    let sum = 0;
    for (let i = firstEndingAfter(this.stretches, fromSec); i < this.stretches.length && this.stretches[i].startSec < toSec; i++) {
      const s = this.stretches[i];
      sum += (Math.min(toSec, s.endSec) - Math.max(fromSec, s.startSec)) * s.share;
    }
    return sum;
  }

  /** Whether an event at this moment lies in usable time. */
  includes(tSec: number): boolean {
    return !this.isExcluded(tSec) && !this.isLost(tSec);
  }

  /** True where no time is counted: excluded, or an hour without anything usable. */
  isExcluded(tSec: number): boolean {
    return !(this.stretches[firstEndingAfter(this.stretches, tSec)]?.startSec <= tSec);
  }

  /** True while the bird's own link was down: such a call was heard through other tags, in time that is not usable. */
  isLost(tSec: number): boolean {
    return this.lost[firstEndingAfter(this.lost, tSec)]?.startSec <= tSec;
  }
}

function toStretch(hour: TrackHourRow, nextSec: number | undefined, durationSec: number | undefined): Stretch {
  // The last hour may be cut short; what it lost tells its length where the study's length is not known.
  const whole = hour.lostShare < 1 && hour.usableSec > 0 ? hour.usableSec / (1 - hour.lostShare) : 3600;
  const lengthSec = Math.min(3600, (nextSec ?? Infinity) - hour.startSec, durationSec === undefined ? whole : durationSec - hour.startSec);
  return { startSec: hour.startSec, endSec: hour.startSec + lengthSec, share: lengthSec > 0 ? Math.min(1, hour.usableSec / lengthSec) : 0 };
}

/** Sorted spans without overlaps. */
export function mergeSpans(spans: readonly { startSec: number; endSec: number }[]): { startSec: number; endSec: number }[] {
  const out: { startSec: number; endSec: number }[] = [];
  for (const s of [...spans].sort((a, b) => a.startSec - b.startSec)) {
    const last = out[out.length - 1];
    if (last && s.startSec <= last.endSec) last.endSec = Math.max(last.endSec, s.endSec);
    else if (s.endSec > s.startSec) out.push({ startSec: s.startSec, endSec: s.endSec });
  }
  return out;
}

function cutOut(stretch: Stretch, holes: readonly { startSec: number; endSec: number }[]): Stretch[] {
  const out: Stretch[] = [];
  let from = stretch.startSec;
  for (const hole of holes) {
    if (hole.endSec <= from || hole.startSec >= stretch.endSec) continue;
    if (hole.startSec > from) out.push({ ...stretch, startSec: from, endSec: hole.startSec });
    from = Math.max(from, hole.endSec);
  }
  if (from < stretch.endSec) out.push({ ...stretch, startSec: from });
  return out;
}

/** Index of the first span that ends after a moment. */
function firstEndingAfter(spans: readonly { endSec: number }[], tSec: number): number {
  let low = 0;
  let high = spans.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (spans[middle].endSec <= tSec) low = middle + 1;
    else high = middle;
  }
  return low;
}
