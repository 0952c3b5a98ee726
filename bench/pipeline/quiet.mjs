// What digital silence, denormal numbers and dead channels cost beside sound, pass by pass, in one thread.
// node bench/pipeline/quiet.mjs [--minutes 3] [--repeats 3]    Writes bench/runs/quiet-DATE.json: processor time in ms per second of recording, medians,
// cases in turn (A B C A B C). All recordings are 8 tracks of 32-bit floats at 48 kHz, so that all are read the same way.
import { mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { cpus, loadavg } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { readOptions } from '../read-options.mjs';
import { buildWavFile } from '../../dist/audio/wav-writer.js';
import { attributeStudyFile } from '../../dist/node/index.js';
import { simulateScene } from '../../dist/simulate/simulate-scene.js';
import { drawBenchScene } from './make-recording.mjs';

const { values } = readOptions({ options: { minutes: { type: 'string', default: '3' }, repeats: { type: 'string', default: '3' } } });
const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
const folder = join(root, 'out', 'quiet');
const DENORMAL = 1e-40;
const even = (second) => second % 2 === 0;
// Each case: what stands for a sample x of track j in a second; beside that, sound.
const cases = {
  sound: (x) => x,
  'digital silence': () => 0,
  'denormal noise': (x) => (x > 0 ? DENORMAL : -DENORMAL),
  'dead: 4 of 8 tracks silent': (x, j) => (j < 4 ? x : 0),
  'dead: 4 of 8 tracks denormal': (x, j) => (j < 4 ? x : x > 0 ? DENORMAL : -DENORMAL),
  'dead: 4 of 8 tracks constant': (x, j) => (j < 4 ? x : 0.25),
  'seconds of sound and silence in turn': (x, j, s) => (even(s) ? x : 0),
  'seconds of sound and denormals in turn': (x, j, s) => (even(s) ? x : x > 0 ? DENORMAL : -DENORMAL),
};

rmSync(folder, { recursive: true, force: true });
const durationSec = 60 * Number(values.minutes);
const { scene, seed } = drawBenchScene({ seconds: 60 });
const { tracks, sampleRateHz } = simulateScene(scene, seed);
const studies = Object.entries(cases).map(([name, change], n) => writeStudy(join(folder, String(n)), change, name));
const runs = studies.map(() => []);
for (let r = 0; r < Number(values.repeats); r++) for (const [n, study] of studies.entries()) runs[n].push(await measure(study));
const result = {
  machine: `${cpus().length} x ${cpus()[0]?.model ?? 'unknown'}`, loadAverage: Number(loadavg()[0].toFixed(1)), node: process.version, date: new Date().toISOString().slice(0, 10),
  durationSec, tracks: tracks.length, unit: 'ms of processor time per second of recording, one thread',
  rows: Object.keys(cases).map((name, n) => ({ case: name, ...Object.fromEntries(Object.keys(runs[n][0]).map((key) => [key, middle(runs[n].map((x) => x[key]))])) })),
};
for (const row of result.rows) process.stdout.write(`${row.case.padEnd(40)} survey ${row.survey}, calibration ${row.calibration}, extraction ${row.extraction}; ${row.calls} calls\n`);
mkdirSync(join(root, 'bench', 'runs'), { recursive: true });
writeFileSync(join(root, 'bench', 'runs', `quiet-${result.date}.json`), `${JSON.stringify(result, null, 2)}\n`);
rmSync(folder, { recursive: true, force: true });

function writeStudy(own, change, name) {
  mkdirSync(own, { recursive: true });
  const minute = tracks.map((t, j) => t.samples.map((x, i) => change(x, j, Math.floor(i / sampleRateHz))));
  const birds = tracks.map((_, j) => `B${j + 1}`);
  minute.forEach((x, j) => {
    const long = new Float32Array(durationSec * sampleRateHz);
    for (let at = 0; at < long.length; at += x.length) long.set(x.subarray(0, Math.min(x.length, long.length - at)), at);
    writeFileSync(join(own, `${birds[j]}.wav`), buildWavFile({ sampleRateHz, encoding: 'float32' }, [long]));
  });
  const study = join(own, 'study.json');
  writeFileSync(study, JSON.stringify({ volary: 1, name, recorders: [{ name: '1' }], tracks: birds.map((bird) => ({ bird, recorder: '1', files: [{ path: `${bird}.wav`, channel: 1 }] })) }));
  return study;
}

/** Processor time of the passes: what is spent until a pass's last cell is told counts to it, what comes after the last to extraction. */
async function measure(study) {
  const spent = { survey: 0, calibration: 0, extraction: 0 };
  let before = process.cpuUsage();
  const take = (stage) => {
    const { user, system } = process.cpuUsage(before);
    before = process.cpuUsage();
    spent[stage.startsWith('calibration') ? 'calibration' : stage] += user + system;
  };
  const { calls } = await attributeStudyFile(study, { workers: 0, onProgress: take });
  take('extraction');
  return { ...Object.fromEntries(Object.entries(spent).map(([k, v]) => [k, Number((v / 1000 / durationSec).toFixed(3))])), calls: calls.length };
}

function middle(list) {
  return list.sort((a, b) => a - b)[list.length >> 1];
}
