// One scene through the attribution and the peers: calls of every method, the clock against the truth, and what it cost.
import { attributeCandidates } from '../../dist/attribute/attribution.js';
import { nameCaller } from '../../dist/attribute/make-tables.js';
import { readOffset } from '../../dist/model/clock.js';
import { SHIPPED_MODELS } from '../../dist/model/shipped-models.js';
import { gatherInMemory } from '../learn/run-scene.mjs';
import { attributeByPeers, PEERS } from './peers.mjs';

export { SHIPPED_MODELS };
export const OURS = 'volary';

/**
 * @param scene of grid.mjs
 * @returns { name, seed, birds, truth, durationSec, trackCount, calls: { method: rows }, clockRmsMs, evidence, cpuSec }: without sound
 */
export async function judgeScene(scene) {
  const before = process.cpuUsage();
  const { evidence, timeline } = await gatherInMemory(scene.birds, scene.recorders, scene.signals, scene.sampleRateHz);
  const ours = listCalls(scene.birds, evidence, SHIPPED_MODELS);
  const used = process.cpuUsage(before);
  const peers = attributeByPeers(scene);
  return {
    name: scene.name, seed: scene.seed, birds: scene.birds, truth: scene.truth, trackCount: scene.birds.length, sampleRateHz: scene.sampleRateHz,
    durationSec: timeline.durationSec, calls: { [OURS]: ours, ...Object.fromEntries(PEERS.map((name, k) => [name, peers[k]])) },
    clockRmsMs: measureClock(scene, evidence.clock, timeline.recorders), evidence: { candidates: evidence.candidates, gains: evidence.gains },
    cpuSec: (used.user + used.system) / 1e6,
  };
}

/** Call rows as scoring wants them. */
export function listCalls(birds, evidence, models) {
  const { calls } = attributeCandidates(evidence.candidates, evidence.gains, models);
  return calls.map((c) => ({ bird: nameCaller(birds, c.caller), onsetSec: c.onsetSec, offsetSec: c.offsetSec, probability: c.probability }));
}

/** Root mean square error of every second recorder's offset at the times of the true table, ms: [{ recorder, rmsMs, points }]. */
function measureClock(scene, model, recorders) {
  const out = [];
  recorders.forEach((recorder, r) => {
    const rows = scene.clock.filter((row) => row.recorder === String(recorder));
    if (r === 0 || rows.length === 0) return;
    const square = rows.reduce((s, row) => s + (1e3 * (readOffset(model[r], row.tRefSec) - row.offsetSec)) ** 2, 0);
    out.push({ recorder: String(recorder), rmsMs: Math.sqrt(square / rows.length), points: rows.length });
  });
  return out;
}
