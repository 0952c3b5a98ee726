// Learns the shipped models from simulated scenes alone: node bench/learn/learn.mjs [--scenes 1000]
// Forests are learned on scenes with calls of several parts, and on other scenes with disturbed tracks, half of them with calls of several parts; the last look at a
// wearer's calls and both at those without a tag are the mean of both, the others those that know disturbed tracks. Probabilities are calibrated on disturbed scenes.
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
import { disturbScene } from './disturb-scene.mjs';
import { drawLearningScene } from './draw-scene.mjs';
import { formatModel, nameModelFile } from './format-model.mjs';
import { packEvidence, unpackEvidence } from './evidence-file.mjs';
import { gatherInMemory } from './run-scene.mjs';
import { varyScene } from './vary-scene.mjs';

const PRESETS = ['normal', 'crowded', 'easy', 'two-clocks', 'small-species', 'harsh', 'normal', 'crowded'];
/** Three folds of blocks of eight seeds. */
const LEAST_SCENES = 24;
const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
const { values } = readOptions({ options: { scenes: { type: 'string', default: '1000' } } });
const missing = Number(values.scenes) >= LEAST_SCENES ? findMissing() : `--scenes ${values.scenes} is too few; at least ${LEAST_SCENES}, so that every fold has some`;
if (missing) {
  process.stderr.write(`learn: ${missing}\n`);
  process.exit(2);
}
const folder = join(root, 'out', 'learn');
mkdirSync(folder, { recursive: true });

/** What is learned from: seeds from `firstSeed` on, whether tracks are disturbed, and which seeds have calls of several parts. */
const UNLIKE = { firstSeed: 3000, disturbed: false, hasParts: () => true, isVaried: true };
const DISTURBED = { firstSeed: 20000, disturbed: true, hasParts: (seed) => (seed >> 3) % 2 === 1, isVaried: true };
/** What the finished models are calibrated on: never fitted to, never judged on. */
const CALIBRATION = { firstSeed: 7000, disturbed: true, hasParts: () => false, isVaried: false };
const CALIBRATION_SCENES = 128;

async function gatherScenes({ firstSeed, disturbed, hasParts, isVaried }, count) {
  const scenes = [];
  for (let seed = firstSeed; seed < firstSeed + count; seed++) {
    const preset = PRESETS[seed % PRESETS.length], parts = hasParts(seed);
    const name = `${seed}${parts ? '-parts' : ''}${disturbed ? '-disturbed' : ''}`, files = [join(folder, `${name}.json`), ...(isVaried ? [join(folder, `${name}-varied.json`)] : [])];
    if (!files.every((f) => existsSync(f))) {
      const s = simulateScene(drawLearningScene(seed, preset, { parts }), seed);
      const drawn = { birds: s.tracks.map((t) => t.bird), recorders: s.tracks.map((t) => t.recorder), signals: s.tracks.map((t) => t.samples), truth: s.truth };
      const disturb = (scene, label) => (disturbed ? { ...scene, signals: disturbScene({ signals: scene.signals, sampleRateHz: s.sampleRateHz, seed }, label) } : scene);
      await keepEvidence(files[0], disturb(drawn, 'as drawn'), s.sampleRateHz, seed, preset);
      if (isVaried) await keepEvidence(files[1], disturb(varyScene({ ...drawn, clock: s.clock, sampleRateHz: s.sampleRateHz, seed }), 'varied'), s.sampleRateHz, seed, preset);
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
async function learn(kind) {
  const scenes = await gatherScenes(kind, Number(values.scenes));
  const pieces = scenes.map(cutPiece).filter((s) => s.candidates.length > 0);
  const { models } = await fitModels([...scenes, ...pieces], { log: (t) => process.stderr.write(`${t}\n`) });
  return { models, count: scenes.length };
}

/** Looks that are the mean of both kinds. */
const JOINED = ['own', 'untagged', 'untaggedAgain'];
const disturbed = await learn(DISTURBED), unlike = await learn(UNLIKE);
const models = Object.fromEntries(Object.entries(disturbed.models).map(([name, forest]) => [name, JOINED.includes(name) ? joinForests([forest, unlike.models[name]]) : forest]));
calibrateModels(models, await gatherScenes(CALIBRATION, CALIBRATION_SCENES));
const count = disturbed.count + unlike.count;
for (const [name, forest] of Object.entries(models)) {
  writeFileSync(join(root, 'src', 'model', nameModelFile(name)), formatModel(name, forest, count));
}
process.stderr.write(`learned from ${disturbed.count} disturbed and ${unlike.count} other scenes\n`);
