// Learns the shipped models from simulated scenes alone: node bench/learn/learn.mjs [--scenes 1000]
// Forests are learned on scenes with calls of several parts, and on others whose tracks are disturbed, half of them with such calls. Probabilities are calibrated on
// disturbed scenes. Evidence is kept in out/learn, so that a second run only fits. 1000 scenes need `node --max-old-space-size=16000`. Judging uses other seeds (bench/accuracy).
import { existsSync, mkdirSync, renameSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { readOptions } from '../read-options.mjs';
import { simulateScene } from '../../dist/simulate/simulate-scene.js';
import { findMissing } from './fit-forests.mjs';
import { calibrateModels, fitModels } from './fit-models.mjs';
import { disturbScene } from './disturb-scene.mjs';
import { drawLearningScene } from './draw-scene.mjs';
import { formatModel, nameModelFile } from './format-model.mjs';
import { packEvidence } from './evidence-file.mjs';
import { openScene } from './looks.mjs';
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

/** What is learned from: seeds from `firstSeed` on, how many for each scene asked for, whether tracks are disturbed, and which seeds have calls of several parts. */
const LEARNED = [
  { firstSeed: 3000, share: 1, disturbed: false, hasParts: () => true, isVaried: true },
  { firstSeed: 20000, share: 1, disturbed: true, hasParts: (seed) => (seed >> 3) % 2 === 1, isVaried: true },
  { firstSeed: 30000, share: 0.5, disturbed: false, hasParts: () => true, isVaried: true },
];
/** What the finished models are calibrated on: never fitted to, never judged on. */
const CALIBRATION = { firstSeed: 7000, disturbed: true, hasParts: () => false, isVaried: false };
const CALIBRATION_SCENES = 128;

/** @returns [{ seed, file, isPiece }], as `fitModels` takes them, of scenes with something to learn from */
async function gatherScenes({ firstSeed, disturbed, hasParts, isVaried }, count) {
  const scenes = [];
  for (let seed = firstSeed; seed < firstSeed + count; seed++) {
    const preset = PRESETS[seed % PRESETS.length], parts = hasParts(seed);
    const name = `${seed}${parts ? '-parts' : ''}${disturbed ? '-disturbed' : ''}`, files = [join(folder, `${name}.evidence`), ...(isVaried ? [join(folder, `${name}-varied.evidence`)] : [])];
    if (!files.every((f) => existsSync(f))) {
      const s = simulateScene(drawLearningScene(seed, preset, { parts }), seed);
      const drawn = { birds: s.tracks.map((t) => t.bird), recorders: s.tracks.map((t) => t.recorder), signals: s.tracks.map((t) => t.samples), truth: s.truth };
      const disturb = (scene, label) => (disturbed ? { ...scene, signals: disturbScene({ signals: scene.signals, sampleRateHz: s.sampleRateHz, seed }, label) } : scene);
      await keepEvidence(files[0], disturb(drawn, 'as drawn'), s.sampleRateHz, seed, preset);
      if (isVaried) await keepEvidence(files[1], disturb(varyScene({ ...drawn, clock: s.clock, sampleRateHz: s.sampleRateHz, seed }), 'varied'), s.sampleRateHz, seed, preset);
      process.stderr.write(`seed ${name} ${preset}\n`);
    }
    for (const f of files) {
      const scene = { seed, file: f, isPiece: false };
      if (existsSync(f) && hasBoth(openScene(scene))) scenes.push(scene);
    }
  }
  return scenes;
}

const hasBoth = ({ candidates, truth }) => candidates.length > 0 && truth.length > 0;

async function keepEvidence(file, { birds, recorders, signals, truth }, sampleRateHz, seed, preset) {
  try {
    const { evidence } = await gatherInMemory(birds, recorders, signals, sampleRateHz);
    writeFileSync(`${file}.part`, packEvidence({ seed, preset, birds, truth, candidates: evidence.candidates, gains: evidence.gains }));
    // Never half a file where the work was stopped: another run takes what is there.
    renameSync(`${file}.part`, file);
  } catch (error) {
    process.stderr.write(`seed ${seed}: ${error.message}\n`);
  }
}

const scenes = [];
for (const kind of LEARNED) scenes.push(...await gatherScenes(kind, Math.round(kind.share * Number(values.scenes))));
const pieces = scenes.map((s) => ({ ...s, isPiece: true })).filter((s) => openScene(s).candidates.length > 0);
const models = await fitModels([...scenes, ...pieces], { log: (t) => process.stderr.write(`${t}\n`) });
calibrateModels(models, await gatherScenes(CALIBRATION, CALIBRATION_SCENES));
for (const [name, forest] of Object.entries(models)) {
  writeFileSync(join(root, 'src', 'model', nameModelFile(name)), formatModel(name, forest, scenes.length));
}
process.stderr.write(`learned from ${scenes.length} scenes\n`);
