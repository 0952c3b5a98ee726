// The scenes that are learned from: random ones of a preset, whose birds differ in voice by anything from hardly to plainly. How far birds of a species
// differ is not known for most; one that holds for all recordings would teach how far to trust a voice wrongly.
import { Random, hashLabel } from '../../dist/simulate/random.js';
import { drawRandomScene } from '../../dist/simulate/random-scene.js';

const INDIVIDUALITY = [0.1, 2];

export function drawLearningScene(seed, preset) {
  const scene = drawRandomScene(seed, preset);
  const random = new Random(hashLabel(seed, 'individuality'));
  for (const voice of Object.values(scene.voices)) voice.individuality = random.logRange(...INDIVIDUALITY);
  return scene;
}
