/** A simulated scene as interleaved bytes, and what a live engine makes of them. */
import { encodeFrames } from '../../src/audio/wav-writer.js';
import { LiveEngine } from '../../src/live/live-engine.js';
import type { LiveSetup } from '../../src/live/live-setup.js';
import type { WarningRow } from '../../src/live/warnings.js';
import { SHIPPED_MODELS } from '../../src/model/shipped-models.js';
import { loadKernelsFile } from '../../src/node/kernels-file.js';
import type { CallRow } from '../../src/schema/rows.js';
import { drawRandomScene, type ScenePreset } from '../../src/simulate/random-scene.js';
import { simulateScene, type SimulatedScene } from '../../src/simulate/simulate-scene.js';

export const models = SHIPPED_MODELS;

export function makeScene(preset: ScenePreset, seed: number, durationSec: number): SimulatedScene {
  return simulateScene({ ...drawRandomScene(seed, preset), durationSec }, seed);
}

/** One input per recorder. */
export function setUp(scene: SimulatedScene): { setup: LiveSetup; bytes: Uint8Array[] } {
  const recorders = [...new Set(scene.tracks.map((t) => t.recorder))];
  const own = recorders.map((r) => scene.tracks.filter((t) => t.recorder === r));
  return {
    bytes: own.map((tracks) => encodeFrames(tracks.map((t) => t.samples), 'pcm16')),
    setup: {
      sampleRateHz: scene.sampleRateHz, recorders, originFrames: recorders.map(() => 0), request: {},
      inputs: own.map((tracks, k) => ({ path: recorders[k], channelCount: tracks.length, coding: 's16' as const, sampleRateHz: scene.sampleRateHz })),
      tracks: scene.tracks.map((t) => { const input = recorders.indexOf(t.recorder); return { bird: t.bird, recorderIndex: input, input, channel: own[input].indexOf(t) }; }),
    },
  };
}

export interface Heard { rows: CallRow[]; heardSec: number[]; warnings: WarningRow[]; notes: string[] }

/** Streams bytes through an engine in pieces of `pieceBytes`. */
export async function listen(setup: LiveSetup, bytes: readonly Uint8Array[], warmUpSec: number, pieceBytes = 65536, clockWaitSec = 600): Promise<Heard> {
  const heard: Heard = { rows: [], heardSec: [], warnings: [], notes: [] };
  const engine = new LiveEngine(await loadKernelsFile(), setup, {
    models, warmUpSec, maxOffsetSec: 5, clockWaitSec, pause: async () => undefined, onSave: async () => undefined, onNote: (text) => heard.notes.push(text), onWarning: (w) => heard.warnings.push(w),
    onCall: (row, sec) => { heard.rows.push(row); heard.heardSec.push(sec); },
  }, setup.originFrames);
  const at = bytes.map(() => 0);
  while (at.some((a, k) => a < bytes[k].length)) {
    bytes.forEach((b, k) => { at[k] += engine.rings[k].push(b.subarray(at[k], at[k] + pieceBytes)); });
    while (await engine.advance());
  }
  await engine.finish(false);
  return heard;
}
