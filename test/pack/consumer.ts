// A program in a project of its own that has nothing but the packed library: simulates a scene, attributes it, scores the calls.
import { readFile } from 'node:fs/promises';
import { attributeTracks, formatTables, readLabels, scoreCalls, simulateScene, VolaryError } from 'volary';
import type { AttributeResult, CallRow, Scene, Score } from 'volary';

const voices: Scene['voices'] = { finch: { calls: [{ name: 'contact', kind: 'stack', freqHz: 600, durationSec: [0.06, 0.15], levelDb: [-8, 0], contour: 'arch', sweepOct: 0.1 }] } };
const scene: Scene = {
  durationSec: 12, sampleRateHz: 32000, room: { sizeM: [2.2, 1.7, 2], rt60Sec: 0.2 }, recorders: [{ name: '1' }], voices,
  birds: [['red', 0.5], ['blue', 1.1], ['green', 1.7]].map(([name, x]) => ({ name: String(name), voice: 'finch', recorder: '1', perchesM: [[Number(x), 0.8, 1.2]], callsPerMin: 40 })),
};
const { tracks, truth, sampleRateHz } = simulateScene(scene, 7);
const result: AttributeResult = await attributeTracks({ birds: tracks.map((t) => t.bird), signals: tracks.map((t) => t.samples), sampleRateHz });
const first: CallRow | undefined = result.calls[0];
const labels = readLabels(`bird,onset_s,offset_s\n${truth.map((t) => `${t.bird},${t.onsetSec},${t.offsetSec}`).join('\n')}\n`);
const score: Score = scoreCalls(result.calls, labels, { resamples: 0 });
const kernels = await WebAssembly.compile(await readFile(new URL(import.meta.resolve('volary/kernels.wasm'))));
let code = '';
try {
  await attributeTracks({ birds: ['red'], signals: [new Float32Array(10)], sampleRateHz });
} catch (error) {
  if (error instanceof VolaryError) code = error.code;
}
process.stdout.write(JSON.stringify({
  calls: result.calls.length, truth: truth.length, f1: score.rightBird.f1.value, first: first?.bird, header: formatTables(result, 'packed')['calls.csv'].split('\n')[0],
  kernels: WebAssembly.Module.exports(kernels).length, code,
}));
