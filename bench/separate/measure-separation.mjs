// Measures separation on simulated scenes: SI-SDR, SDR, SIR and SAR of every own call before and after, with the truth as call table or with what
// attribution finds (--calls attributed). Calls are judged by the truth either way. Seeds 9101-9106 were used for tuning, 9001-9003 and
// 9201-9206 were not.
// node bench/separate/measure-separation.mjs [--seeds 9201,9202] [--presets normal,crowded] [--calls attributed] [--set name=value ...] [--ratios] [--list]
import { readOptions } from '../read-options.mjs';
import { attributeTracks } from '../../dist/node/attribute-tracks.js';
import { loadKernelsFile } from '../../dist/node/kernels-file.js';
import { measureSeparation, measureSiSdr } from '../../dist/score/separation-measures.js';
import { drawRandomScene, SCENE_PRESETS } from '../../dist/simulate/random-scene.js';
import { simulateScene } from '../../dist/simulate/simulate-scene.js';
import { separateTracks } from '../../dist/separate/separate-tracks.js';
import { takeCalls, takeSounds } from '../../dist/separate/take-rows.js';

const { values } = readOptions({ options: {
  seeds: { type: 'string', default: '9001,9002,9003' }, presets: { type: 'string', default: 'normal,crowded' },
  set: { type: 'string', multiple: true, default: [] }, calls: { type: 'string', default: 'truth' }, list: { type: 'boolean', default: false }, ratios: { type: 'boolean', default: false },
} });
const unknown = values.presets.split(',').find((p) => !SCENE_PRESETS.includes(p));
if (unknown !== undefined || !['truth', 'attributed'].includes(values.calls)) {
  process.stderr.write(unknown !== undefined ? `measure-separation: no preset '${unknown}'; expected ${SCENE_PRESETS.join(', ')}\n` : `measure-separation: --calls ${values.calls}; expected truth or attributed\n`);
  process.exit(2);
}
const changes = Object.fromEntries(values.set.map((s) => { const [k, v] = s.split('='); return [k, v === 'true' ? true : v === 'false' ? false : Number(v)]; }));
const kernels = await loadKernelsFile();

for (const preset of values.presets.split(',')) {
  const overlapped = [], solo = [], hushed = [];
  let audioSec = 0, workSec = 0;
  for (const seed of values.seeds.split(',').map(Number)) {
    const scene = simulateScene(drawRandomScene(seed, preset), seed, { ownVoice: true });
    const birds = scene.tracks.map((t) => t.bird), recorders = [...new Set(scene.tracks.map((t) => t.recorder))];
    const calls = scene.truth.map((r) => ({ id: r.id, track: birds.indexOf(r.bird), onsetSec: r.onsetSec, offsetSec: r.offsetSec, probability: 1 }));
    const clock = recorders.map((name) => {
      const rows = scene.clock.filter((c) => c.recorder === name);
      return rows.length ? { knotSec: rows.map((c) => c.tRefSec), offsetSec: rows.map((c) => c.offsetSec), uncertaintySec: rows.map(() => 0) } : { knotSec: [0], offsetSec: [0], uncertaintySec: [0] };
    });
    const table = values.calls === 'attributed' ? await attribute(scene, birds) : { calls, clock };
    const began = process.cpuUsage();
    const out = await separateScene(scene, table, recorders);
    const used = process.cpuUsage(began);
    workSec += (used.user + used.system) / 1e6;
    audioSec += scene.tracks[0].samples.length / scene.sampleRateHz;
    for (const row of scene.truth) {
      const track = birds.indexOf(row.bird);
      if (track < 0 || row.lost) continue;
      const others = scene.truth.filter((o) => o !== row && o.bird !== row.bird && o.onsetSec < row.offsetSec && o.offsetSec > row.onsetSec);
      const isOverlapped = others.some((o) => birds.includes(o.bird));
      if (!isOverlapped && others.length > 0) continue;
      const offset = readOffset(clock[recorders.indexOf(scene.tracks[track].recorder)], row.onsetSec);
      const cut = (x) => x.subarray(Math.round((row.onsetSec + offset) * scene.sampleRateHz), Math.round((row.offsetSec + offset) * scene.sampleRateHz));
      const own = cut(scene.tracks[track].ownVoice), raw = cut(scene.tracks[track].samples), done = cut(out[track]);
      const result = { seed, id: row.id, bird: row.bird, snrDb: row.snrDb, isClipped: row.clipped, before: measureSiSdr(raw, own), after: measureSiSdr(done, own) };
      if (isOverlapped && values.ratios) {
        // Interference as heard: other birds' own voices; an own-track copy stands for each, filtered by up to 64 taps.
        const sources = [own, ...[...new Set(others.map((o) => birds.indexOf(o.bird)))].filter((t) => t >= 0).map((t) => cut(scene.tracks[t].ownVoice))].filter((s) => s.some((v) => v !== 0));
        result.ratiosBefore = measureSeparation(raw, sources, 0, 64); result.ratiosAfter = measureSeparation(done, sources, 0, 64);
      }
      (isOverlapped ? overlapped : solo).push(result);
      if (values.list && isOverlapped) console.log(preset, seed, row.id, row.bird, `snr ${row.snrDb.toFixed(0)} before ${result.before.toFixed(1)} after ${result.after.toFixed(1)}${row.clipped ? ' clipped' : ''}`);
    }
    hushed.push(...measureHush(scene, out, calls, birds));
  }
  const gains = overlapped.map((r) => r.after - r.before), low = overlapped.filter((r) => r.before < 15).map((r) => r.after - r.before);
  console.log(`${preset}, call table: ${values.calls}: ${overlapped.length} overlapped calls, SI-SDR ${med(overlapped.map((r) => r.before))} -> ${med(overlapped.map((r) => r.after))} dB; gain median ${med(gains)}, mean ${mean(gains)}, worst ${Math.min(...gains).toFixed(1)}; of ${low.length} below 15 dB: median ${med(low)}, mean ${mean(low)}`);
  // What a tag that overloads has bent is no crosstalk: no separation of voices can mend it.
  const whole = overlapped.filter((r) => !r.isClipped);
  console.log(`  ${whole.length} of them not clipped: ${med(whole.map((r) => r.before))} -> ${med(whole.map((r) => r.after))} dB; gain median ${med(whole.map((r) => r.after - r.before))}, mean ${mean(whole.map((r) => r.after - r.before))}`);
  console.log(`  ${solo.length} solo calls: change median ${med(solo.map((r) => r.after - r.before))}, worst ${Math.min(...solo.map((r) => r.after - r.before)).toFixed(2)} dB, ${solo.filter((r) => r.after === r.before).length} untouched; solo crosstalk over the floor removed: median ${med(hushed)} dB`);
  if (values.ratios) for (const name of ['sdrDb', 'sirDb', 'sarDb']) console.log(`  ${name}: ${med(overlapped.map((r) => r.ratiosBefore[name]))} -> ${med(overlapped.map((r) => r.ratiosAfter[name]))}`);
  console.log(`  ${(audioSec / workSec).toFixed(1)} seconds of sound per second of processor time`);
}

/** Call table and clock as attribution gives them, nothing known but the tracks. */
async function attribute(scene, birds) {
  const recorderNames = [...new Set(scene.tracks.map((t) => t.recorder))];
  const result = await attributeTracks({ birds, signals: scene.tracks.map((t) => t.samples), sampleRateHz: scene.sampleRateHz, recorders: scene.tracks.map((t) => t.recorder) });
  const clock = recorderNames.map((name) => {
    const rows = result.clock.filter((c) => c.recorder === name);
    return rows.length ? { knotSec: rows.map((c) => c.tRefSec), offsetSec: rows.map((c) => c.offsetSec), uncertaintySec: rows.map((c) => c.uncertaintySec) } : { knotSec: [0], offsetSec: [0], uncertaintySec: [0] };
  });
  return { clock, calls: takeCalls(result.calls, birds), sounds: takeSounds(result.sounds, birds) };
}

async function separateScene(scene, { calls, sounds, clock }, recorders) {
  const frames = scene.tracks[0].samples.length;
  const read = async (starts, count, wanted, into) => wanted.map((j, n) => {
    const row = new Float32Array(into.buffer, into.byteOffset + 4 * n * count, count);
    const from = Math.min(count, Math.max(0, -starts[j])), part = scene.tracks[j].samples.subarray(starts[j] + from, Math.max(starts[j] + from, Math.min(frames, starts[j] + count)));
    row.set(part, from);
    row.fill(0, 0, from).fill(0, from + part.length);
    return { trackIndex: j, offset: 0, frameCount: count, byteOffset: 4 * n * count, strideBytes: 4, coding: 'f32' };
  });
  const out = scene.tracks.map(() => new Float32Array(frames));
  for await (const block of separateTracks({ kernels, sampleRateHz: scene.sampleRateHz, endFrames: scene.tracks.map(() => frames), recorderOf: scene.tracks.map((t) => recorders.indexOf(t.recorder)), clock, calls, sounds, read, changes })) {
    block.tracks.forEach((x, j) => out[j].set(x, block.startFrame));
  }
  return out;
}

/** Fall of the power of solo calls on the loudest other track, where they rose 10 dB over what is there 0.1 s before, dB. */
function measureHush(scene, out, calls, birds) {
  const result = [], fs = scene.sampleRateHz, power = (x, a, b) => { let s = 0; for (let i = Math.max(0, Math.round(a * fs)); i < Math.min(x.length, Math.round(b * fs)); i++) s += x[i] * x[i]; return s / Math.max(1, (b - a) * fs); };
  for (const c of calls) {
    if (c.track < 0 || calls.some((o) => o !== c && o.onsetSec < c.offsetSec + 0.2 && o.offsetSec > c.onsetSec - 0.4)) continue;
    for (let j = 0; j < birds.length; j++) {
      if (j === c.track || scene.tracks[j].recorder !== scene.tracks[c.track].recorder) continue;
      const before = power(scene.tracks[j].samples, c.onsetSec - 0.1, c.onsetSec), raw = power(scene.tracks[j].samples, c.onsetSec, c.offsetSec), done = power(out[j], c.onsetSec, c.offsetSec);
      if (raw > 10 * before) result.push(10 * Math.log10((raw - before) / Math.max(done - before, 0.01 * (raw - before))));
    }
  }
  return result;
}

function readOffset(c, t) {
  if (c.knotSec.length === 1) return c.offsetSec[0];
  let k = 0;
  while (k < c.knotSec.length - 2 && c.knotSec[k + 1] <= t) k++;
  return c.offsetSec[k] + ((c.offsetSec[k + 1] - c.offsetSec[k]) * (t - c.knotSec[k])) / (c.knotSec[k + 1] - c.knotSec[k]);
}
function med(x) { if (!x.length) return 'none'; const s = [...x].sort((a, b) => a - b); return ((s[(s.length - 1) >> 1] + s[s.length >> 1]) / 2).toFixed(2); }
function mean(x) { return x.length ? (x.reduce((a, b) => a + b, 0) / x.length).toFixed(2) : 'none'; }
