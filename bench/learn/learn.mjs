// Learns the shipped models from simulated scenes alone: node bench/learn/learn.mjs [--scenes 1000] [--first-seed 3000]
// All forests are learned on scenes of plain calls, and again on the same scenes with calls of several parts; the last looks are the mean of both:
// plain ones tell callers better, the others where a call begins. Probabilities are calibrated on plain ones.
// Evidence is kept in out/learn, so that a second run only fits. 1000 scenes need `node --max-old-space-size=18000`. Judging uses other seeds (bench/accuracy).
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { readOptions } from '../read-options.mjs';
import { simulateScene } from '../../dist/simulate/simulate-scene.js';
import { findMissing } from './fit-forests.mjs';
import { joinForests } from './join-forests.mjs';
import { calibrateModels, fitModels } from './fit-models.mjs';
import { cutPiece } from './cut-piece.mjs';
import { drawLearningScene } from './draw-scene.mjs';
import { formatModel, nameModelFile } from './format-model.mjs';
import { packEvidence, unpackEvidence } from './evidence-file.mjs';
import { gatherInMemory } from './run-scene.mjs';
import { varyScene } from './vary-scene.mjs';

const PRESETS = ['normal', 'crowded', 'easy', 'two-clocks', 'small-species', 'harsh', 'normal', 'crowded'];
/** Three folds of blocks of eight seeds. */
const LEAST_SCENES = 24;
const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
const { values } = readOptions({ options: { scenes: { type: 'string', default: '1000' }, 'first-seed': { type: 'string', default: '3000' } } });
const missing = Number(values.scenes) >= LEAST_SCENES ? findMissing() : `--scenes ${values.scenes} is too few; at least ${LEAST_SCENES}, so that every fold has some`;
if (missing) {
  process.stderr.write(`learn: ${missing}\n`);
  process.exit(2);
}
const folder = join(root, 'out', 'learn');
mkdirSync(folder, { recursive: true });

/** Seeds of the scenes that the finished models are calibrated on: never fitted to, never judged on. */
const CALIBRATION_SEEDS = [7000, 7128];

async function gatherScenes(first, end, { isVaried = false, parts = false } = {}) {
  const scenes = [];
  for (let seed = first; seed < end; seed++) {
    const preset = PRESETS[seed % PRESETS.length];
    const name = parts ? `${seed}-parts` : `${seed}`, files = [join(folder, `${name}.json`), ...(isVaried ? [join(folder, `${name}-varied.json`)] : [])];
    if (!files.every((f) => existsSync(f))) {
      const s = simulateScene(drawLearningScene(seed, preset, { parts }), seed);
      const drawn = { birds: s.tracks.map((t) => t.bird), recorders: s.tracks.map((t) => t.recorder), signals: s.tracks.map((t) => t.samples), truth: s.truth };
      await keepEvidence(files[0], drawn, s.sampleRateHz, seed, preset);
      if (isVaried) await keepEvidence(files[1], varyScene({ ...drawn, clock: s.clock, sampleRateHz: s.sampleRateHz, seed }), s.sampleRateHz, seed, preset);
      process.stderr.write(`seed ${name} ${preset}\n`);
    }
    for (const f of files) {
      const scene = existsSync(f) ? unpackEvidence(readFileSync(f, 'utf8')) : { candidates: [], truth: [] };
      if (scene.candidates.length > 0 && scene.truth.length > 0) scenes.push(scene);
    }
  }
  return scenes;
}

async function keepEvidence(file, { birds, recorders, signals, truth }, sampleRateHz, seed, preset) {
  try {
    const { evidence } = await gatherInMemory(birds, recorders, signals, sampleRateHz);
    writeFileSync(file, packEvidence({ seed, preset, birds, truth, candidates: evidence.candidates, gains: evidence.gains }));
  } catch (error) {
    process.stderr.write(`seed ${seed}: ${error.message}\n`);
  }
}

/** Learns on all scenes of one kind; how many there were goes along. */
async function learn(parts) {
  const first = Number(values['first-seed']);
  const scenes = await gatherScenes(first, first + Number(values.scenes), { isVaried: true, parts });
  const pieces = scenes.map(cutPiece).filter((s) => s.candidates.length > 0);
  const { models } = await fitModels([...scenes, ...pieces], { log: (t) => process.stderr.write(`${t}\n`) });
  return { models, count: scenes.length };
}

const plain = await learn(false), unlike = await learn(true);
const models = { ...plain.models, ...Object.fromEntries(['own', 'untaggedAgain'].map((name) => [name, joinForests(plain.models[name], unlike.models[name])])) };
calibrateModels(models, await gatherScenes(...CALIBRATION_SEEDS));
for (const [name, forest] of Object.entries(models)) {
  writeFileSync(join(root, 'src', 'model', nameModelFile(name)), formatModel(name, forest, plain.count));
}
process.stderr.write(`learned from ${plain.count} and ${unlike.count} scenes\n`);
