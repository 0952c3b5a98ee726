// Measures `watch` on simulated scenes: right time and right bird against the truth after the warm-up, beside `attribute` on the finished recording, how well the two
// tables agree, how long after its end a call is told, and what it costs. The scenes are those of the accuracy bench: the models never saw them.
import { parseArgs } from 'node:util';
import { encodeFrames } from '../../dist/audio/wav-writer.js';
import { LiveEngine } from '../../dist/live/live-engine.js';
import { SHIPPED_MODELS } from '../../dist/model/shipped-models.js';
import { attributeTracks } from '../../dist/node/attribute-tracks.js';
import { loadKernelsFile } from '../../dist/node/kernels-file.js';
import { matchCalls } from '../../dist/score/match-calls.js';
import { SCENE_PRESETS } from '../../dist/simulate/random-scene.js';
import { listSeeds, simulate } from '../accuracy/grid.mjs';

const usage = 'npm run bench -- watch [--presets normal,crowded] [--scenes 4] [--warm-up 30,60] [--sec 90]';
const values = readOptions();
const kernels = await loadKernelsFile();
const PIECE_BYTES = 65536;

function readOptions() {
  try {
    const { values: given } = parseArgs({ options: {
      presets: { type: 'string', default: 'normal,crowded,two-clocks' }, scenes: { type: 'string', default: '4' }, 'warm-up': { type: 'string', default: '30,60' }, sec: { type: 'string', default: '90' },
    } });
    const unknown = given.presets.split(',').find((p) => !SCENE_PRESETS.includes(p)), numbers = [given.scenes, given.sec, ...given['warm-up'].split(',')];
    if (unknown !== undefined) throw new Error(`no preset '${unknown}', there are ${SCENE_PRESETS.join(', ')}`);
    if (!numbers.every((n) => Number(n) > 0)) throw new Error(`scenes and seconds are numbers above 0, got ${numbers.join(', ')}`);
    listSeeds(SCENE_PRESETS[0], Number(given.scenes));
    return given;
  } catch (error) {
    process.stderr.write(`watch: ${error.message}\n${usage}\n`);
    return process.exit(2);
  }
}

/** What a live engine makes of a scene: rows, and how much of the stream had been heard when each was given. */
async function watchScene(scene, warmUpSec) {
  const recorders = [...new Set(scene.recorders)];
  const own = recorders.map((r) => scene.birds.flatMap((_, k) => (scene.recorders[k] === r ? [k] : [])));
  const bytes = own.map((tracks) => encodeFrames(tracks.map((k) => scene.signals[k]), 'pcm16'));
  const setup = {
    sampleRateHz: scene.sampleRateHz, recorders, originFrames: recorders.map(() => 0), request: {},
    inputs: own.map((tracks, k) => ({ path: recorders[k], channelCount: tracks.length, coding: 's16', sampleRateHz: scene.sampleRateHz })),
    tracks: scene.birds.map((bird, k) => { const input = recorders.indexOf(scene.recorders[k]); return { bird, recorderIndex: input, input, channel: own[input].indexOf(k) }; }),
  };
  const heard = [];
  const engine = new LiveEngine(kernels, setup, {
    models: SHIPPED_MODELS, warmUpSec, maxOffsetSec: 5, clockWaitSec: 600, pause: async () => undefined, onSave: async () => undefined, onNote: () => undefined, onWarning: () => undefined,
    onCall: (row, sec) => heard.push({ ...row, heardSec: sec }),
  }, setup.originFrames);
  const at = bytes.map(() => 0);
  while (at.some((a, k) => a < bytes[k].length)) {
    bytes.forEach((b, k) => { at[k] += engine.rings[k].push(b.subarray(at[k], at[k] + PIECE_BYTES)); });
    while (await engine.advance());
  }
  await engine.finish(false);
  return heard;
}

/** [twice the right rows, rows and labels]: tagged birds, right time and right bird, after `fromSec`. */
function count(rows, labels, fromSec) {
  const take = (list) => list.filter((r) => r.bird !== 'none' && r.onsetSec >= fromSec);
  const calls = take(rows), truth = take(labels);
  return [2 * matchCalls(calls, truth, { sameBird: true }).pairs.length, calls.length + truth.length];
}

const f1 = ([both, all]) => (all ? both / all : 1).toFixed(3).replace(/^0/, '');
const quantile = (v, q) => (v.length ? v[Math.floor(q * (v.length - 1))] : NaN).toFixed(1);

process.stdout.write('| scenes, warm-up | calls after it | watch | attribute | each other, all calls | told after its end, median and most, s of sound | processor time per second of sound |\n|---|---|---|---|---|---|---|\n');
for (const preset of values.presets.split(',')) {
  const seeds = listSeeds(preset, Number(values.scenes)), scenes = seeds.map((seed) => simulate(preset, seed, Number(values.sec)));
  const wholes = [];
  for (const { birds, recorders, signals, sampleRateHz } of scenes) wholes.push((await attributeTracks({ birds, recorders, signals, sampleRateHz })).calls);
  for (const warmUpSec of values['warm-up'].split(',').map(Number)) {
    const sums = { watch: [0, 0], attribute: [0, 0], each: [0, 0] }, waits = [];
    let labels = 0, soundSec = 0, workSec = 0;
    for (const [k, scene] of scenes.entries()) {
      const began = process.cpuUsage(), heard = await watchScene(scene, warmUpSec), used = process.cpuUsage(began);
      workSec += (used.user + used.system) / 1e6;
      soundSec += scene.signals[0].length / scene.sampleRateHz;
      labels += scene.truth.filter((t) => t.bird !== 'none' && t.onsetSec >= warmUpSec).length;
      for (const [key, rows, against, from] of [['watch', heard, scene.truth, warmUpSec], ['attribute', wholes[k], scene.truth, warmUpSec], ['each', heard, wholes[k], 0]]) {
        count(rows, against, from).forEach((v, n) => { sums[key][n] += v; });
      }
      for (const r of heard) if (r.offsetSec > warmUpSec) waits.push(r.heardSec - r.offsetSec);
    }
    waits.sort((a, b) => a - b);
    process.stdout.write(`| ${preset} ${seeds[0]}-${seeds.at(-1)}, ${warmUpSec} s | ${labels} | ${f1(sums.watch)} | ${f1(sums.attribute)} | ${f1(sums.each)} | ${quantile(waits, 0.5)} and ${quantile(waits, 1)} | ${(1e3 * workSec / soundSec).toFixed(0)} ms |\n`);
  }
}
