// The scenes that are learned from: random ones of a preset, whose birds differ in voice by anything from hardly to plainly. How far birds of a species
// differ is not known for most; one that holds for all recordings would teach how far to trust a voice wrongly. Most scenes hold struck things besides:
// what a keeper's room holds is not known either. With `parts` many calls
// have a first or a last part unlike the rest: where a call begins and ends is learned from these.
import { Random, hashLabel } from '../../dist/simulate/random.js';
import { drawRandomScene } from '../../dist/simulate/random-scene.js';
import { drawPart } from '../../dist/simulate/random-voice.js';

const INDIVIDUALITY = [0.1, 2];
const LEAD_SHARE = 0.4, TAIL_SHARE = 0.25;
const KNOCKS_PER_MIN = [0.3, 6], KNOCK_SHARE = 0.75;

export function drawLearningScene(seed, preset, { parts = false } = {}) {
  const scene = drawRandomScene(seed, preset);
  const random = new Random(hashLabel(seed, 'individuality'));
  for (const voice of Object.values(scene.voices)) voice.individuality = random.logRange(...INDIVIDUALITY);
  if (parts) addParts(scene, new Random(hashLabel(seed, 'parts')));
  const noise = new Random(hashLabel(seed, 'knocks'));
  if (noise.chance(KNOCK_SHARE)) scene.roomNoise = { ...scene.roomNoise, knockPerMin: noise.logRange(...KNOCKS_PER_MIN) };
  return scene;
}

function addParts(scene, random) {
  for (const voice of Object.values(scene.voices)) for (const call of voice.calls) {
    if (call.kind === 'tick') continue;
    if (random.chance(LEAD_SHARE)) call.lead = drawPart(random, call);
    if (random.chance(TAIL_SHARE)) call.tail = drawPart(random, call);
  }
}
