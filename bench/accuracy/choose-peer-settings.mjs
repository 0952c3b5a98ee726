// Chooses the settings of the peers on learning seeds, by the mean of their F1 values: node bench/accuracy/choose-peer-settings.mjs [--scenes 18]
import { readOptions } from '../read-options.mjs';
import { SCENE_PRESETS } from '../../dist/simulate/random-scene.js';
import { scoreCalls } from '../../dist/score/score-calls.js';
import { simulate } from './grid.mjs';
import { attributeByPeers, PEER_SETTINGS, PEERS, prepareTracks } from './peers.mjs';

const { values } = readOptions({ options: { scenes: { type: 'string', default: '12' } } });
const scenes = Array.from({ length: Number(values.scenes) }, (_, k) => {
  const scene = simulate(SCENE_PRESETS[k % SCENE_PRESETS.length], 2000 + k);
  const prepared = prepareTracks(scene);
  return { ...scene, signals: undefined, prepared };
});

function judge(settings) {
  const f1 = PEERS.map(() => 0);
  for (const s of scenes) {
    attributeByPeers(s, s.prepared, settings).forEach((calls, k) => { f1[k] += (scoreCalls(calls, s.truth, { resamples: 1 }).rightBird.f1.value ?? 0) / scenes.length; });
  }
  return f1;
}

const mean = (v) => v.reduce((a, b) => a + b, 0) / v.length;
const GRID = {
  openDb: [17, 20, 24, 28, 32], closeDb: [8, 11, 14, 17, 20], joinSec: [0.008, 0.02], togetherSec: [0.03, 0.05, 0.07, 0.1], smoothSec: [0.008], leastSec: [0.025, 0.04, 0.06],
};
let best = { settings: PEER_SETTINGS, f1: judge(PEER_SETTINGS) };
for (let round = 0, moved = true; moved && round < 2; round++) {
  moved = false;
  for (const [key, choices] of Object.entries(GRID)) {
    for (const value of choices) {
      const settings = { ...best.settings, [key]: value };
      if (settings.closeDb > settings.openDb || value === best.settings[key]) continue;
      const f1 = judge(settings);
      if (mean(f1) > mean(best.f1)) { best = { settings, f1 }; moved = true; }
    }
  }
  process.stderr.write(`${JSON.stringify(best.settings)} ${best.f1.map((v) => v.toFixed(3)).join(' ')}\n`);
}
process.stdout.write(`${JSON.stringify(best)}\n`);
