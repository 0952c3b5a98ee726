// Speed of the kernels on one thread beside peers, on the same data in the same run, taken in turn; results are compared before they are timed.
// Usage: node bench/kernels/bench-kernels.mjs [--rounds N] [--only PART] [--write] [--json]. Needs a build (npm run build). Peers are taken
// where they are installed: fft.js and a pffft build from the package's development dependencies, python3 with scipy and FFTW's single-precision
// library, sox and ffmpeg. Nothing about speed is asserted. --write keeps the result in bench/runs/kernels-DATE.json.
import { writeFileSync } from 'node:fs';
import { cpus } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { readOptions } from '../read-options.mjs';
import { createKernels } from '../../dist/kernels/kernels.js';
import { canRunRelaxed, loadKernelsFile } from '../../dist/node/kernels-file.js';
import { benchFirstPass } from './bench-first-pass.mjs';
import { benchPhase } from './bench-phase.mjs';
import { benchSeparation } from './bench-separation.mjs';
import { benchTransforms } from './bench-transforms.mjs';
import { formatResults } from './format-results.mjs';
import { startPython } from './python-peer.mjs';

const KERNEL_BYTES = 160 << 20;
const PARTS = { transforms: benchTransforms, 'first-pass': benchFirstPass, phase: benchPhase, separation: benchSeparation };
const { values: options } = readOptions({ options: { rounds: { type: 'string', default: '15' }, only: { type: 'string' }, write: { type: 'boolean' }, json: { type: 'boolean' } } });
const rounds = Number(options.rounds);
if (!(Number.isInteger(rounds) && rounds >= 1) || (options.only && !(options.only in PARTS))) {
  process.stderr.write(`bench kernels: --rounds takes a positive whole number, --only one of ${Object.keys(PARTS).join(', ')}\n`);
  process.exit(2);
}

const tell = (text) => process.stderr.write(`bench kernels: ${text}\n`);
async function tryImport(name, take) {
  try { return await take(await import(name)); } catch (error) { tell(`${name}: absent, not compared (${error.message.split('\n')[0]})`); return undefined; }
}
const npm = { fft: await tryImport('fft.js', (m) => m.default), pffft: await tryImport('@echogarden/pffft-wasm/simd', (m) => m.default()) };
const python = await startPython((reason) => tell(`python with scipy: absent, not compared (${reason})`));
if (python && !python.about.fftw) tell('FFTW, single precision: absent, not compared');

const relaxed = canRunRelaxed() ? createKernels(await loadKernelsFile('relaxed'), KERNEL_BYTES) : undefined;
if (!relaxed) tell('relaxed kernels: this Node does not run them, not compared (try node --experimental-wasm-relaxed-simd)');

const noise = new Float32Array(8 * 48000);
let state = 1234567890;
for (let i = 0; i < noise.length; i++) { state = (16807 * state) % 2147483647; noise[i] = state / 2147483647 - 0.5; }
const results = [];
try {
  for (const [name, bench] of Object.entries(PARTS)) {
    if (options.only && options.only !== name) continue;
    const kernels = createKernels(await loadKernelsFile(), KERNEL_BYTES);
    results.push(...await bench({ kernels, relaxed, noise, python, npm, rounds, tell }));
  }
} finally {
  python?.close();
}

const date = new Date().toISOString().slice(0, 10);
const machine = { cpu: cpus()[0]?.model ?? 'unknown', threads: cpus().length, node: process.version, ...python?.about };
const run = { date, machine, rounds, threadsUsed: 1, results };
if (options.write) writeFileSync(join(dirname(fileURLToPath(import.meta.url)), '..', 'runs', `kernels-${date}.json`), `${JSON.stringify(run, null, 1)}\n`);
process.stdout.write(options.json ? `${JSON.stringify(run, null, 2)}\n` : formatResults(run));
