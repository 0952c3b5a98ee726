import type { HandlingRow } from '../../schema/analysis-rows.js';
import type { CallRow, ClockRow, SoundRow, TrackHourRow } from '../../schema/rows.js';
import { Random } from '../random.js';
import type { Days, FullDays } from './days.js';
import { drawCalls, Rhythm } from './draw-calls.js';
import type { TrueCall } from './draw-calls.js';
import { EFFECT_KINDS, listDayFactors, listUntagged } from './handling-factor.js';
import { parseDays } from './parse-days.js';
import { reportCalls } from './report-calls.js';
import type { Span } from './report-calls.js';

const HOUR_SEC = 3600;
const DAY_SEC = 86400;

export interface SimulatedDays {
  study: FullDays;
  durationSec: number;
  /** Tables as `attribute` would have written them. */
  calls: CallRow[];
  sounds: SoundRow[];
  clock: ClockRow[];
  tracks: TrackHourRow[];
  handling: HandlingRow[];
  /** What really happened. */
  trueCalls: TrueCall[];
  truth: DaysTruth;
}

export interface DaysTruth {
  kind: 'volary-days-truth';
  schemaVersion: 1;
  seed: number;
  /** True replies: latency is from onset to onset; songs are not answered. `replies` = how many there were. */
  pairs: (FullDays['pairs'][number] & { replies: number })[];
  /** Mean factor on spontaneous calls and body noise on each day after the first handling of a kind, the first day first; `days` = after how many days nothing is left. */
  effects: Record<string, { days: number; calls: number[]; body: number[] }>;
  /** True calls of each bird, songs apart. */
  birds: { name: string; calls: number; syllables: number }[];
  attribution: FullDays['attribution'];
}

/**
 * Draws an invented study of several days as tables: rhythm of the day, song, effects of handling that fade, true replies with
 * latencies, lost links and faults of attribution. The same description and seed give the same tables.
 * @throws VolaryError 'bad-scene' naming the place
 * @example simulateDays({ days: 6, birds: [{ name: 'red' }, { name: 'blue' }] }, 1).calls
 */
export function simulateDays(input: Days, seed: number): SimulatedDays {
  const study = parseDays(input);
  const durationSec = Math.round(study.days * DAY_SEC);
  const random = new Random(seed);
  const { calls: trueCalls, body } = drawCalls(study, seed);
  const lost = new Map(study.birds.map((b) => [b.name, drawLosses(study, durationSec, random.fork(`link ${b.name}`))]));
  const calls = reportCalls(study, trueCalls, lost, random.fork('attribution'));
  const down = new Map(study.birds.map((b) => [b.name, joinSpans([...lost.get(b.name)!, ...listUntagged(study, b.name)])]));
  return {
    study, durationSec, calls, sounds: listSounds(body, down), clock: [], tracks: listTracks(study, durationSec, down),
    handling: study.handling.map((h) => ({ bird: h.bird, timeSec: h.day * DAY_SEC, what: h.what })).sort((a, b) => a.timeSec - b.timeSec), trueCalls, truth: tellTruth(study, seed, trueCalls),
  };
}

function drawLosses(study: FullDays, durationSec: number, random: Random): Span[] {
  const spans: Span[] = [];
  if (study.links.lostPerDay <= 0) return spans;
  const meanSec = DAY_SEC / study.links.lostPerDay;
  for (let t = random.wait(meanSec); t < durationSec; t += random.wait(meanSec)) {
    const end = Math.min(durationSec, t + random.wait(study.links.lostMeanSec));
    spans.push([t, end]);
    t = end;
  }
  return spans;
}

function joinSpans(spans: Span[]): Span[] {
  const out: [number, number][] = [];
  for (const [from, to] of spans.sort((a, b) => a[0] - b[0])) {
    const last = out[out.length - 1];
    if (last && from <= last[1]) last[1] = Math.max(last[1], to);
    else out.push([from, to]);
  }
  return out;
}

function listSounds(body: readonly { bird: string; onsetSec: number; offsetSec: number }[], down: ReadonlyMap<string, readonly Span[]>): SoundRow[] {
  const rows: SoundRow[] = [];
  for (const [track, spans] of down) for (const [onsetSec, offsetSec] of spans) rows.push({ kind: 'dropout', track, onsetSec, offsetSec, levelDb: NaN, source: '' });
  for (const b of body) {
    if (!down.get(b.bird)!.some(([from, to]) => b.onsetSec >= from && b.onsetSec < to)) rows.push({ kind: 'body', track: b.bird, onsetSec: b.onsetSec, offsetSec: b.offsetSec, levelDb: -30, source: '' });
  }
  return rows.sort((a, b) => a.onsetSec - b.onsetSec);
}

function listTracks(study: FullDays, durationSec: number, down: ReadonlyMap<string, readonly Span[]>): TrackHourRow[] {
  return study.birds.flatMap(({ name }) => Array.from({ length: Math.ceil(durationSec / HOUR_SEC) }, (_, hour): TrackHourRow => {
    const startSec = hour * HOUR_SEC;
    const endSec = Math.min(durationSec, startSec + HOUR_SEC);
    let lostSec = 0;
    for (const [from, to] of down.get(name)!) lostSec += Math.max(0, Math.min(endSec, to) - Math.max(startSec, from));
    return { track: name, recorder: 'main', startSec, usableSec: Math.max(0, endSec - startSec - lostSec), noiseFloorDb: -85, gainDb: 0, lostShare: Math.min(1, lostSec / (endSec - startSec)) };
  }));
}

function tellTruth(study: FullDays, seed: number, calls: readonly TrueCall[]): DaysTruth {
  const rhythm = new Rhythm(study.lightHours, study.start);
  const count = (test: (c: TrueCall) => boolean): number => calls.filter(test).length;
  return {
    kind: 'volary-days-truth', schemaVersion: 1, seed,
    pairs: study.pairs.map((p) => ({ ...p, replies: count((c) => c.bird === p.replier && c.replyTo === p.caller) })),
    effects: Object.fromEntries(EFFECT_KINDS.map((kind) => {
      const effect = study.effects[kind];
      const firstDay = study.handling.find((h) => h.what === kind)?.day ?? 0;
      const weigh = (days: number): number => rhythm.compute((firstDay + days) * DAY_SEC);
      return [kind, { days: effect.days, calls: listDayFactors(effect, 'calls', weigh), body: listDayFactors(effect, 'body', weigh) }];
    })),
    birds: study.birds.map(({ name }) => ({ name, calls: count((c) => c.bird === name && !c.isSong), syllables: count((c) => c.bird === name && c.isSong) })),
    attribution: study.attribution,
  };
}
