import { powerToDb } from './filters.js';
import { OVERLOAD_BLOCK } from './link.js';
import type { LinkFault } from './link.js';
import type { PlayedCall, ScenePlan } from './simulate-scene.js';
import type { FinishedTrack } from './track-chain.js';

/** One call that was played. Times on the reference clock. */
export interface TruthRow {
  id: number;
  /** 'none' for a bird without a tag. */
  bird: string;
  onsetSec: number;
  offsetSec: number;
  /** Source level over the nominal call. */
  levelDb: number;
  /** Root mean square of the call alone on the caller's own track, dB re full scale, before clipping; untagged: on the loudest track. */
  ownDbfs: number;
  /** Over the steady noise (or the receiver's noise where the link was down) of that track. */
  snrDb: number;
  snrBestDb: number;
  overlap: boolean;
  nearM: number;
  lost: boolean;
  clipped: boolean;
  untaggedId: string;
  replyTo: string;
  call: string;
}

export interface SceneEvent { kind: string; channel: string; onsetSec: number; offsetSec: number; levelDb: number; source: string }

export interface SceneClockRow { recorder: string; tRefSec: number; offsetSec: number; ppm: number }

/** Share of a call that a dropout must cover for the call to count as lost. */
const LOST_SHARE = 0.5;

export function listTruth(plan: ScenePlan, calls: readonly PlayedCall[], tracks: readonly FinishedTrack[]): TruthRow[] {
  const { scene } = plan, wearers = scene.birds.map((_, i) => i).filter((i) => scene.birds[i].tagged);
  const ordered = calls.slice().sort((a, b) => a.onsetSec - b.onsetSec || a.bird - b.bird);
  return ordered.map((call, id): TruthRow => {
    const bird = scene.birds[call.bird];
    const levels = tracks.map((_, m) => powerToDb(call.powers[m]) + plan.gains[m].levelDb(call.onsetSec));
    const snrs = tracks.map((t, m) => powerToDb(call.powers[m]) - noiseDb(plan, wearers[m], call, t.noisePower, m));
    const best = snrs.indexOf(Math.max(...snrs)), own = bird.tagged ? wearers.indexOf(call.bird) : best;
    return {
      id, bird: bird.tagged ? bird.name : 'none', onsetSec: call.onsetSec, offsetSec: call.offsetSec, levelDb: call.levelDb,
      ownDbfs: levels[own], snrDb: snrs[own], snrBestDb: snrs[best], nearM: call.nearestM,
      overlap: ordered.some((o) => o !== call && o.onsetSec < call.offsetSec && call.onsetSec < o.offsetSec),
      lost: bird.tagged && findLoss(plan.faults, call.bird, call) !== undefined,
      clipped: bird.tagged && isClipped(plan, tracks[own], call),
      untaggedId: bird.tagged ? '' : bird.name, replyTo: call.replyTo, call: call.type,
    };
  });
}

/** The dropout that covers most of the call. */
function findLoss(faults: readonly LinkFault[], bird: number, call: PlayedCall): LinkFault | undefined {
  return faults.find((f) => f.bird === bird && f.kind !== 'fade'
    && Math.min(f.offsetSec, call.offsetSec) - Math.max(f.onsetSec, call.onsetSec) > LOST_SHARE * (call.offsetSec - call.onsetSec));
}

/** Noise of a track around a call before the gain, in dB over the nominal own call; includes the receiver's own noise. */
function noiseDb(plan: ScenePlan, bird: number, call: PlayedCall, steadyPower: number, index: number): number {
  const loss = findLoss(plan.faults, bird, call);
  const receiver = Math.pow(10, (plan.scene.birds[bird].tag.receiverNoiseDbfs - plan.gains[index].levelDb(call.onsetSec)) / 10);
  if (!loss) return powerToDb(steadyPower + receiver);
  // A muted receiver leaves nothing: a number far below any call that can be found.
  return loss.noise === 'silent' ? 60 : loss.levelDb;
}

/** Whether the tag overloaded or the file reached full scale during the call. */
function isClipped(plan: ScenePlan, track: FinishedTrack, call: PlayedCall): boolean {
  const { scene } = plan, fs = scene.sampleRateHz;
  const block = (sec: number): number => ((sec - plan.startSec) * fs) / OVERLOAD_BLOCK;
  if (track.overloads.subarray(Math.floor(block(call.onsetSec)), Math.ceil(block(call.offsetSec))).includes(1)) return true;
  const clock = plan.clocks.find((c) => c.name === track.recorder) ?? plan.clocks[0];
  const from = Math.max(0, Math.floor((call.onsetSec + clock.offsetSec(call.onsetSec)) * fs)), to = Math.min(track.samples.length, Math.ceil((call.offsetSec + clock.offsetSec(call.offsetSec)) * fs));
  const top = 1 - 2 / Math.pow(2, scene.bits - 1);
  for (let i = from; i < to; i++) if (track.samples[i] >= top || track.samples[i] <= -1) return true;
  return false;
}

export function listEvents(plan: ScenePlan): SceneEvent[] {
  const { scene } = plan, fs = scene.sampleRateHz, events: SceneEvent[] = [];
  for (const e of plan.body) events.push({ kind: e.kind, channel: scene.birds[e.bird].name, onsetSec: e.startSec, offsetSec: e.startSec + e.samples.length / fs, levelDb: e.levelDb, source: '' });
  for (const e of plan.roomEvents) events.push({ kind: e.kind, channel: 'all', onsetSec: e.startSec, offsetSec: e.startSec + e.samples.length / fs, levelDb: e.levelDb, source: '' });
  for (const f of plan.faults) events.push({ kind: f.kind, channel: scene.birds[f.bird].name, onsetSec: f.onsetSec, offsetSec: f.offsetSec, levelDb: f.levelDb, source: '' });
  for (const b of scene.link.breakthrough) events.push({ kind: 'breakthrough', channel: b.to, onsetSec: b.onsetSec, offsetSec: Math.min(b.offsetSec, scene.durationSec), levelDb: b.levelDb, source: b.from });
  return events.sort((a, b) => a.onsetSec - b.onsetSec || (a.channel < b.channel ? -1 : 1));
}

/** One row per second and recorder, the reference left out. */
export function listClockRows(plan: ScenePlan): SceneClockRow[] {
  const rows: SceneClockRow[] = [];
  plan.clocks.slice(1).forEach((clock) => {
    for (let t = 0; t <= plan.scene.durationSec; t++) rows.push({ recorder: clock.name, tRefSec: t, offsetSec: clock.offsetSec(t), ppm: clock.ratePpm(t) });
  });
  return rows;
}
