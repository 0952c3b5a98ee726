// Speed of the kernels on one thread, beside a peer where it is installed, on the same data in the same run.
// Usage: node bench/kernels/bench-kernels.mjs [--json]. Needs a build (npm run build). Nothing here is asserted.
import { cpus } from 'node:os';
import { Bench } from 'tinybench';
import { createBandFilter, writeEnvelope } from '../../dist/kernels/band.js';
import { correlateRegion, createCorrelationPlan } from '../../dist/kernels/correlation.js';
import { designButterworth } from '../../dist/kernels/filter-design.js';
import { createKernels } from '../../dist/kernels/kernels.js';
import { computeStft, createStftPlan } from '../../dist/kernels/stft.js';
import { loadKernelsFile } from '../../dist/node/kernels-file.js';

const RATE = 48000;
const TRACKS = 8;
const SIZES = [256, 512, 1024, 2048, 4096];
const peers = {};
for (const name of ['fft.js']) {
  try { peers[name] = (await import(name)).default; } catch { peers[name] = null; }
}

const k = createKernels(await loadKernelsFile(), 128 << 20);
const region = { signal: k.allocF32(TRACKS * RATE), trackStrideFrames: RATE, trackCount: TRACKS, frameCount: RATE };
let state = 1234567890;
const noise = k.f32(region.signal, TRACKS * RATE);
for (let i = 0; i < noise.length; i++) { state = (16807 * state) % 2147483647; noise[i] = state / 2147483647 - 0.5; }

const bench = new Bench({ time: 300, warmupTime: 100 });
const units = new Map();
function add(name, unit, perRun, run) { units.set(name, { unit, perRun }); bench.add(name, run); }

for (const n of SIZES) {
  const plan = createStftPlan(k, { fftSize: n, hopFrames: n });
  const lanes = k.alloc(16 * n), work = k.alloc(16 * n), out = k.alloc(16 * n + 32);
  k.f32(lanes, 4 * n).set(noise.subarray(0, 4 * n));
  add(`fft ${n}`, 'real transforms/s', 4, () => k.fn.fftForward(n, plan.table, lanes, work, out, 32));
  if (peers['fft.js']) {
    const fft = new peers['fft.js'](n), spectrum = fft.createComplexArray(), data = Array.from(noise.subarray(0, n));
    add(`fft ${n} fft.js`, 'real transforms/s', 1, () => fft.realTransform(spectrum, data));
  }
}
for (const n of [512, 1024]) {
  const plan = createStftPlan(k, { fftSize: n, hopFrames: n / 2 });
  const into = k.alloc(2 * RATE * 2 * 4 * TRACKS * 2);
  add(`stft ${n}, ${TRACKS} tracks, hop ${n / 2}`, 'times real time', 1, () => computeStft(k, plan, region, 0, undefined, into));
}
{
  const plan = createCorrelationPlan(k, { fftSize: 1024, windowFrames: 768, hopFrames: 384, trackCount: TRACKS, whitening: 'phase', maxLagFrames: 256, firstBin: 10, endBin: 200 });
  add(`phase correlation, 28 pairs, 100 ms`, 'regions/s', 1, () => correlateRegion(k, plan, region, 1000, RATE / 10));
}
const sos = designButterworth({ kind: 'bandpass', order: 4, lowHz: 1000, highHz: 10000 }, RATE);
const silence = { ...region, signal: k.allocF32(TRACKS * RATE) };
k.f32(silence.signal, TRACKS * RATE).fill(0);
const env = k.allocF32(TRACKS * 2000);
for (const [name, source] of [['sound', region], ['silence after sound', silence]]) {
  const filter = createBandFilter(k, { sos, trackCount: TRACKS, hopFrames: 48 });
  writeEnvelope(k, filter, region, env, 1000);
  add(`band energy, 4 sections, ${TRACKS} tracks: ${name}`, 'times real time', 1, () => writeEnvelope(k, filter, source, env, 1000));
}

await bench.run();
const rows = bench.tasks.map((t) => {
  const { unit, perRun } = units.get(t.name);
  return { name: t.name, value: (1000 / t.result.latency.p50) * perRun, unit };
});
for (const n of peers['fft.js'] ? SIZES : []) {
  const value = rows.find((r) => r.name === `fft ${n}`).value / rows.find((r) => r.name === `fft ${n} fft.js`).value;
  rows.push({ name: `fft ${n} against fft.js`, value, unit: 'times' });
}
const absent = Object.keys(peers).filter((name) => !peers[name]);
const machine = { cpu: cpus()[0]?.model ?? 'unknown', threads: cpus().length, node: process.version };
if (process.argv.includes('--json')) process.stdout.write(`${JSON.stringify({ machine, absent, rows }, null, 2)}\n`);
else {
  process.stdout.write(`${machine.cpu}, ${machine.threads} threads, Node ${machine.node}; medians\n`);
  for (const r of rows) process.stdout.write(`${r.name.padEnd(60)} ${r.value < 1000 ? r.value.toFixed(1) : Math.round(r.value)} ${r.unit}\n`);
  for (const name of absent) process.stdout.write(`${name}: absent, not compared\n`);
}
