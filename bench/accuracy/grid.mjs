// The grid of judged scenes. Seeds from 6000 on are for judging only (6600 to 6899 with recorded voices, see voiced-scenes.mjs): models are learned on seeds 3000-3999, 20000-20999 and 30000-30475 and calibrated on 7000-7127, which are no preset's here.
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { openAudioFile } from '../../dist/node/study-files.js';
import { drawRandomScene, SCENE_PRESETS } from '../../dist/simulate/random-scene.js';
import { simulateScene } from '../../dist/simulate/simulate-scene.js';
import { readLabels } from '../../dist/table/labels.js';

export const FIRST_SEED = 6000;
const SEEDS_PER_PRESET = 100;
export const RECORDED = ['T1', 'T2', 'T3', 'T4'];

/** Seeds of a preset: 6000 + 100 times its place, then upwards. */
export function listSeeds(preset, count) {
  if (!(count <= SEEDS_PER_PRESET)) throw new RangeError(`at most ${SEEDS_PER_PRESET} scenes of a preset`);
  return Array.from({ length: count }, (_, k) => FIRST_SEED + SEEDS_PER_PRESET * SCENE_PRESETS.indexOf(preset) + k);
}

/** A simulated scene as { name, birds, recorders, signals, sampleRateHz, truth, clock }; `mostSec` shortens it. */
export function simulate(preset, seed, mostSec = Infinity) {
  const drawn = drawRandomScene(seed, preset);
  const scene = simulateScene({ ...drawn, durationSec: Math.min(drawn.durationSec, mostSec) }, seed);
  return describeScene(`${preset} ${seed}`, seed, scene);
}

/** What the bench judges of a simulated scene. */
export function describeScene(name, seed, scene) {
  return {
    name, seed, sampleRateHz: scene.sampleRateHz,
    birds: scene.tracks.map((t) => t.bird), recorders: scene.tracks.map((t) => t.recorder), signals: scene.tracks.map((t) => t.samples),
    truth: scene.truth.map((t) => ({ bird: t.bird, onsetSec: t.onsetSec, offsetSec: t.offsetSec, extra: { overlap: t.overlap ? '1' : '0', lost: t.lost ? '1' : '0', snr_db: String(t.snrDb) } })),
    clock: scene.clock,
  };
}

/** Folder of a labelled recorded scene: channels.csv (file, bird, recorder; the first recorder is the reference) and truth/. */
export async function readRecorded(folder, name) {
  const at = (...parts) => join(folder, name, ...parts);
  const rows = parseRows(readFileSync(at('channels.csv'), 'utf8'));
  const signals = [];
  let sampleRateHz = 0;
  for (const row of rows) {
    const reader = await openAudioFile(existsSync(at(row.file)) ? at(row.file) : at(row.file.replace(/\.wav$/i, '.flac')));
    const samples = new Float32Array(reader.info.frameCount);
    await reader.readFrames(0, samples.length, [samples]);
    await reader.close();
    sampleRateHz = reader.info.sampleRateHz;
    signals.push(samples);
  }
  const clock = existsSync(at('truth', 'clock.csv')) ? parseRows(readFileSync(at('truth', 'clock.csv'), 'utf8')) : [];
  return {
    name, seed: null, sampleRateHz, birds: rows.map((r) => r.bird), recorders: rows.map((r) => r.recorder), signals,
    truth: readLabels(readFileSync(at('truth', 'truth.csv'), 'utf8'), `${name}/truth.csv`),
    clock: clock.map((r) => ({ recorder: r.recorder, tRefSec: Number(r.t_ref_s), offsetSec: Number(r.offset_s), ppm: Number(r.ppm) })),
  };
}

/** These files have no quotes and no empty lines but the last. */
function parseRows(text) {
  const [head, ...lines] = text.trim().split(/\r?\n/).map((line) => line.split(','));
  return lines.map((values) => Object.fromEntries(head.map((key, k) => [key, values[k]])));
}
