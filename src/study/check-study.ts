import { resolveSettings } from '../evidence/settings.js';
import { quoteName, VolaryError } from '../schema/errors.js';
import { checkFiles } from './check-files.js';
import { planCheck } from './check-plan.js';
import type { StudyManifest } from './manifest.js';
import { HumMeter } from './measure-hum.js';
import type { Hum } from './measure-hum.js';
import { SteadyMeter, type SteadySound } from './measure-steady.js';
import { judgeTrack } from './judge-track.js';
import { StudyAudio } from './study-audio.js';
import type { Gap } from './study-audio.js';
import type { FileHeader, Problem, Timeline } from './timeline.js';
import { TrackMeter } from './track-meter.js';
import type { TrackMeasures } from './track-meter.js';

/** Level of a track at one moment, for pictures. */
export interface LevelPoint { startSec: number; durationSec: number; levelDb: number }

export interface TrackCheck {
  bird: string;
  recorder: string;
  /** Container and bits of its first file. */
  format: string;
  startSec: number;
  endSec: number;
  /** Seconds with sound between start and end. */
  soundSec: number;
  gapCount: number;
  overlapCount: number;
  clockStepCount: number;
  measures: TrackMeasures;
  hum: Hum | undefined;
  steady: SteadySound | undefined;
  levels: LevelPoint[];
  problems: Problem[];
}

export interface CheckReport {
  isFit: boolean;
  /** Share of the study whose samples were read. */
  readShare: number;
  tracks: TrackCheck[];
  /** All problems, those of single tracks included; errors first. */
  problems: Problem[];
}

export interface CheckInput {
  manifest: StudyManifest;
  headers: ReadonlyMap<string, FileHeader>;
  timeline: Timeline;
  audio: StudyAudio;
  /** Reads every sample; otherwise long studies are sampled in blocks. */
  isFull: boolean;
  onProgress?: (doneSec: number, totalSec: number) => void;
}

/** Points of a track's level in a picture, and the shortest stretch that one stands for. */
const MOST_POINTS = 900;
const PIECE_SEC = 0.1;
const MOST_HUM_SECONDS = 60;

interface TrackState { meter: TrackMeter; hum: HumMeter; steady: SteadyMeter; hash: number; heard: number; levels: LevelPoint[] }

/** Looks at every track of a study: headers, names and samples. Memory does not grow with the length of the study. */
export async function checkStudy(input: CheckInput): Promise<CheckReport> {
  const { timeline, audio } = input;
  const rate = timeline.sampleRateHz;
  const fileCount = Math.max(0, ...timeline.tracks.map((t) => t.segments.length));
  const plan = planCheck(timeline.frameCount, rate, fileCount, input.isFull);
  const { bandHz, problems } = findBand(input);
  const states = timeline.tracks.map((): TrackState => ({ meter: new TrackMeter(rate), hum: new HumMeter(rate), steady: new SteadyMeter(rate, bandHz), hash: 0, heard: 0, levels: [] }));
  const buffers = states.map(() => new Float32Array(plan.blocks[0]?.frameCount ?? 0));
  const humEvery = Math.max(1, Math.ceil(plan.blocks.length / MOST_HUM_SECONDS));
  const totalSec = plan.blocks.reduce((s, b) => s + b.frameCount, 0) / rate;
  let doneSec = 0;
  for (const [index, block] of plan.blocks.entries()) {
    const gaps = await audio.readTracks(block.startFrame, block.frameCount, buffers);
    states.forEach((state, t) => addBlock(state, buffers[t].subarray(0, block.frameCount), block.startFrame, gaps.filter((g) => g.trackIndex === t), rate, index % humEvery === 0, timeline.durationSec));
    doneSec += block.frameCount / rate;
    input.onProgress?.(doneSec, totalSec);
  }
  return assemble(input, states, plan.share, problems);
}

/** The call band as attribution searches it; a sample rate that it cannot serve is a finding, and the rest is looked at all the same. */
function findBand({ timeline, manifest }: CheckInput): { bandHz: [number, number]; problems: Problem[] } {
  const bandHz = manifest.settings?.band_hz;
  try {
    return { bandHz: resolveSettings(timeline.sampleRateHz, { bandHz }).bandHz, problems: [] };
  } catch (error) {
    if (!(error instanceof VolaryError)) throw error;
    // Without a track there is no rate, and that has been told.
    const problems: Problem[] = timeline.tracks.length > 0 ? [{ severity: 'error', kind: 'rate', bird: '', text: error.message }] : [];
    return { bandHz: bandHz ?? [0, timeline.sampleRateHz / 2], problems };
  }
}

function addBlock(state: TrackState, samples: Float32Array, startFrame: number, gaps: Gap[], rate: number, forHum: boolean, durationSec: number): void {
  state.meter.add(samples, samples.length, startFrame, gaps.map((g) => ({ from: g.startFrame - startFrame, to: g.startFrame - startFrame + g.frameCount, isLost: g.reason !== 'no-file' })));
  if (forHum && gaps.length === 0) {
    state.hum.add(samples);
    state.steady.add(samples);
  }
  const pieceFrames = Math.max(1, Math.ceil(Math.max(PIECE_SEC, durationSec / MOST_POINTS) * rate));
  for (let from = 0; from < samples.length; from += pieceFrames) addPiece(state, samples.subarray(from, from + pieceFrames), (startFrame + from) / rate, rate, durationSec);
}

function addPiece(state: TrackState, samples: Float32Array, startSec: number, rate: number, durationSec: number): void {
  const bits = new Int32Array(samples.buffer, samples.byteOffset, samples.length);
  let power = 0;
  let heard = 0;
  for (let i = 0; i < samples.length; i++) {
    const x = samples[i];
    power += x * x;
    if (x !== 0) heard++;
    state.hash = (Math.imul(state.hash, 31) + bits[i]) | 0;
  }
  state.heard += heard;
  if (heard === 0) return;
  const point = { startSec, durationSec: samples.length / rate, levelDb: 10 * Math.log10(power / samples.length) };
  const last = state.levels[state.levels.length - 1];
  // Two weeks have more pieces than a picture has points: the loudest of each stretch stays.
  if (last && startSec < last.startSec + (0.99 * durationSec) / MOST_POINTS) {
    last.levelDb = Math.max(last.levelDb, point.levelDb);
    last.durationSec = startSec + point.durationSec - last.startSec;
  } else state.levels.push(point);
}

function assemble(input: CheckInput, states: TrackState[], readShare: number, found: readonly Problem[]): CheckReport {
  const { timeline, headers, audio } = input;
  const rate = timeline.sampleRateHz;
  const common = [...found, ...timeline.problems, ...checkFiles(input.manifest, headers, timeline), ...audio.problems, ...findCopies(timeline, states)];
  const tracks = timeline.tracks.map((t, i): TrackCheck => {
    const last = t.segments[t.segments.length - 1];
    const header = headers.get(t.segments[0].path);
    const measures = states[i].meter.finish();
    const hum = states[i].hum.finish(), steady = states[i].steady.finish();
    const own = common.filter((p) => p.bird === t.bird);
    const count = (kind: Problem['kind']): number => own.filter((p) => p.kind === kind).length;
    return {
      bird: t.bird, recorder: t.recorder,
      format: header && 'info' in header ? `${header.info.container} ${header.info.validBits} bit${header.info.sampleFormat === 'float' ? ' float' : ''}` : '',
      startSec: t.segments[0].startFrame / rate,
      endSec: (last.startFrame + last.frameCount) / rate,
      soundSec: t.segments.reduce((s, x) => s + x.frameCount, 0) / rate,
      gapCount: count('gap'), overlapCount: count('overlap'), clockStepCount: count('clock-step'),
      measures, hum, steady, levels: states[i].levels,
      problems: [...own, ...judgeTrack(t.bird, measures, hum, steady, audio.nonFiniteCounts[i])],
    };
  });
  const known = new Set(timeline.tracks.map((t) => t.bird));
  const problems = [...common.filter((p) => !known.has(p.bird)), ...tracks.flatMap((t) => t.problems)];
  if (tracks.length === 1) problems.push({ severity: 'warning', kind: 'single', bird: '', text: 'there is one track only: whose call it was cannot be told from other tracks' });
  const rank = { error: 0, warning: 1, note: 2 };
  problems.sort((a, b) => rank[a.severity] - rank[b.severity]);
  return { isFit: !problems.some((p) => p.severity === 'error'), readShare, tracks, problems };
}

/** Two tracks with the same samples throughout are one recording under two names. */
function findCopies(timeline: Timeline, states: readonly TrackState[]): Problem[] {
  const problems: Problem[] = [];
  const first = new Map<string, string>();
  timeline.tracks.forEach((t, i) => {
    if (states[i].heard === 0) return;
    const key = `${states[i].hash} ${states[i].heard}`;
    const other = first.get(key);
    if (other === undefined) first.set(key, t.bird);
    else problems.push({ severity: 'error', kind: 'duplicate', bird: t.bird, text: `${quoteName(t.bird)} and ${quoteName(other)} hold the same sound, sample by sample` });
  });
  return problems;
}
