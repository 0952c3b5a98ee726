// Scenes of the simulator with recorded calls of real birds as voices: rooms, tags and noises are drawn, the voices are nobody's model.
// A folder holds one WAV file per call; the first ten letters of a name tell the bird (the set in ../shared/finch is named so).
import { existsSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import { openAudioFile } from '../../dist/node/study-files.js';
import { Random, hashLabel } from '../../dist/simulate/random.js';
import { drawRandomScene } from '../../dist/simulate/random-scene.js';
import { simulateScene } from '../../dist/simulate/simulate-scene.js';
import { describeScene } from './grid.mjs';

/** Groups of scenes: rooms of a preset; `pitch` draws how much higher (and shorter) a species' calls are than those recorded. */
export const VOICED = [
  { name: 'real voices, normal', preset: 'normal', firstSeed: 6600, pitch: [1, 1] },
  { name: 'real voices, crowded', preset: 'crowded', firstSeed: 6700, pitch: [1, 1] },
  { name: 'real voices, higher, 22 kHz', preset: 'normal', firstSeed: 6800, pitch: [1.15, 1.9], sampleRateHz: 22050 },
];

const NAME_LENGTH = 10;
const CALLS_PER_BIRD = 8;
/** Birds of one species differ by up to a quarter of an octave either way: more than two real birds are needed. */
const BIRD_OCT = 0.25;

/** Recorded calls by bird: { name: [{ samples, sampleRateHz }] }; an empty object where there is no such folder. */
export async function readVoices(folder) {
  const birds = {};
  for (const file of existsSync(folder) ? readdirSync(folder).filter((f) => /\.wav$/i.test(f)).sort() : []) {
    const reader = await openAudioFile(join(folder, file));
    const { frameCount, channelCount, sampleRateHz } = reader.info;
    const channels = Array.from({ length: channelCount }, () => new Float32Array(frameCount));
    await reader.readFrames(0, frameCount, channels);
    await reader.close();
    const power = channels.map((x) => x.reduce((s, v) => s + v * v, 0));
    (birds[file.slice(0, NAME_LENGTH)] ??= []).push({ samples: cutCall(channels[power.indexOf(Math.max(...power))], sampleRateHz), sampleRateHz });
  }
  return birds;
}

/** The stretch around the loudest moment that is within 30 dB of it, gaps of up to 12 ms bridged, with soft ends. */
function cutCall(x, sampleRateHz) {
  const hop = Math.round(0.002 * sampleRateHz), bridge = 6, margin = 2;
  const power = Array.from({ length: Math.floor(x.length / hop) }, (_, k) => x.subarray(k * hop, (k + 1) * hop).reduce((s, v) => s + v * v, 0));
  const peak = power.indexOf(Math.max(...power)), least = power[peak] * 1e-3;
  const walk = (step) => {
    let last = peak;
    for (let k = peak; k >= 0 && k < power.length && Math.abs(k - last) < bridge; k += step) if (power[k] > least) last = k;
    return last;
  };
  const call = x.slice(Math.max(0, walk(-1) - margin) * hop, Math.min(power.length, walk(1) + margin + 1) * hop);
  for (let i = 0; i < margin * hop; i++) {
    const w = 0.5 - 0.5 * Math.cos((Math.PI * i) / (margin * hop));
    call[i] *= w;
    call[call.length - 1 - i] *= w;
  }
  return call;
}

/** A scene of a group with every bird, tagged or not, given calls of one recorded bird at a pitch of its own; as `simulate` of grid.mjs returns it. */
export function simulateVoiced(group, seed, birds) {
  const drawn = drawRandomScene(seed, group.preset);
  const random = new Random(hashLabel(seed, `voices ${group.name}`));
  const species = random.range(...group.pitch), names = Object.keys(birds).sort();
  const sampleAudio = {}, voices = {};
  drawn.birds.forEach((bird, b) => {
    const calls = [...birds[random.pick(names)]], pitch = species * 2 ** random.range(-BIRD_OCT, BIRD_OCT);
    const samples = Array.from({ length: Math.min(CALLS_PER_BIRD, calls.length) }, (_, k) => {
      const [call] = calls.splice(random.whole(0, calls.length - 1), 1);
      sampleAudio[`${bird.name}-${k}`] = { samples: call.samples, sampleRateHz: Math.round(call.sampleRateHz * pitch) };
      return `${bird.name}-${k}`;
    });
    voices[`voice${b}`] = { calls: [{ name: 'loud', kind: 'samples', samples, share: 1, levelDb: [-3, 5] }, { name: 'soft', kind: 'samples', samples, share: 0.6, levelDb: [-17, -6] }], individuality: 0 };
    bird.voice = `voice${b}`;
  });
  const scene = simulateScene({ ...drawn, voices, ...(group.sampleRateHz ? { sampleRateHz: group.sampleRateHz } : {}) }, seed, { sampleAudio });
  return describeScene(`${group.name} ${seed}`, seed, scene);
}
