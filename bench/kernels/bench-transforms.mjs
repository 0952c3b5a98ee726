// Real transforms of rows that lie in memory one behind the other: 65536 samples in all, so that every contender streams through the same caches.
import { createStftPlan } from '../../dist/kernels/stft.js';
import { requireSame } from './compare.mjs';
import { takeTurns, timed } from './take-turns.mjs';

const SIZES = [256, 512, 1024, 2048, 4096];
const SAMPLES = 65536;
// Rounding of f32 grows with the logarithm of the size; the values of this data are a few times its root mean square at most.
const TOLERANCE = 2e-5;
const GOALS = { 'fft.js': 12, pffft: 1.8, 'scipy-fft': 2.2 };
const FFTW_GOAL_UP_TO = 2048;

/** @returns { case, contenders, difference } per size */
export async function benchTransforms({ kernels: k, relaxed, noise, python, npm, rounds, tell }) {
  const results = [];
  for (const n of SIZES) {
    tell(`transforms of ${n}`);
    const before = k.mark();
    const rows = noise.subarray(0, SAMPLES);
    const ours = prepareLanes(k, n, rows);
    const contenders = [ours.contender];
    const difference = {};
    const add = (contender, values) => {
      difference[contender.name] = requireSame(`${contender.name}, ${n} points`, values, ours.values, TOLERANCE);
      contenders.push(contender);
    };
    add(...prepareRows(k, n, rows));
    const mark = relaxed?.mark();
    if (relaxed) {
      const other = prepareLanes(relaxed, n, rows, 'ours, relaxed');
      add(other.contender, other.values);
    }
    if (npm.fft) add(...prepareFftJs(npm.fft, n, rows));
    if (npm.pffft) add(...preparePffft(npm.pffft, n, rows));
    if (python) add(python.contender('scipy-fft'), await python.prepare('scipy-fft', rows, { n }));
    if (python?.about.fftw) add(python.contender('fftw'), await python.prepare('fftw', rows, { n }));
    results.push({ case: `real transform, ${n} points`, unit: 'transforms', perRun: SAMPLES / n, times: await takeTurns(contenders, rounds), difference, goals: { ...GOALS, ...(n <= FFTW_GOAL_UP_TO ? { fftw: 1.5 } : {}) } });
    k.release(before);
    if (relaxed) relaxed.release(mark);
  }
  return results;
}

/** Four rows at a time, as the pipeline has them: one vector of four tracks per sample. */
function prepareLanes(k, n, rows, name = 'ours') {
  const { table } = createStftPlan(k, { fftSize: n, hopFrames: n });
  const groups = SAMPLES / (4 * n), bins = n / 2 + 1, groupBytes = 16 * n, outBytes = bins * 32;
  const lanes = k.alloc(16 * n * groups), work = k.alloc(16 * n), out = k.alloc(outBytes * groups);
  const vectors = k.f32(lanes, SAMPLES);
  for (let i = 0; i < SAMPLES; i++) vectors[(Math.floor(i / (4 * n)) * n + (i % n)) * 4 + (Math.floor(i / n) % 4)] = rows[i];
  const run = () => { for (let g = 0; g < groups; g++) k.fn.fftForward(n, table, lanes + g * groupBytes, work, out + g * outBytes, 32); };
  run();
  return { contender: timed(name, run), values: unlace(k.f32(out, groups * bins * 8), groups, bins) };
}

/** The same from rows: turned into lanes in registers first. */
function prepareRows(k, n, rows) {
  const plan = createStftPlan(k, { fftSize: n, hopFrames: n, window: 'rectangle' });
  const groups = SAMPLES / (4 * n), bins = n / 2 + 1;
  const signal = k.allocF32(SAMPLES), out = k.alloc(bins * 32 * groups);
  k.f32(signal, SAMPLES).set(rows);
  const run = () => {
    for (let g = 0; g < groups; g++) k.fn.stft(signal + g * 16 * n, n, 4, n, 0, n, 1, n, 0, n, plan.table, plan.scratch, out + g * bins * 32);
  };
  run();
  return [timed('ours, from rows', run), unlace(k.f32(out, groups * bins * 8), groups, bins)];
}

/** [group][bin][re x 4][im x 4] to rows of re, im. */
function unlace(values, groups, bins) {
  const rows = new Float32Array(values.length);
  for (let g = 0; g < groups; g++) for (let b = 0; b < bins; b++) for (let c = 0; c < 4; c++) {
    const from = (g * bins + b) * 8 + c, to = ((4 * g + c) * bins + b) * 2;
    rows[to] = values[from];
    rows[to + 1] = values[from + 4];
  }
  return rows;
}

function prepareFftJs(FFT, n, rows) {
  const fft = new FFT(n), count = SAMPLES / n;
  // Plain arrays of numbers are what its author measures, and no slower than Float32Array.
  const inputs = Array.from({ length: count }, (_, r) => Array.from(rows.subarray(r * n, (r + 1) * n)));
  const outputs = inputs.map(() => fft.createComplexArray());
  const run = () => { for (let r = 0; r < count; r++) fft.realTransform(outputs[r], inputs[r]); };
  run();
  return [timed('fft.js', run), Float32Array.from(outputs.flatMap((x) => x.slice(0, n + 2)))];
}

/** Ordered output: re of bins 0 and n/2 first, then re, im. */
function preparePffft(module, n, rows) {
  const count = SAMPLES / n, bins = n / 2 + 1;
  const setup = module._pffft_new_setup(n, 0);
  const input = module._pffft_aligned_malloc(4 * SAMPLES), output = module._pffft_aligned_malloc(4 * SAMPLES), work = module._pffft_aligned_malloc(4 * n);
  module.HEAPF32.set(rows, input >> 2);
  const run = () => { for (let r = 0; r < count; r++) module._pffft_transform_ordered(setup, input + 4 * n * r, output + 4 * n * r, work, 0); };
  run();
  const packed = module.HEAPF32.subarray(output >> 2, (output >> 2) + SAMPLES), values = new Float32Array(count * bins * 2);
  for (let r = 0; r < count; r++) {
    values.set(packed.subarray(r * n, (r + 1) * n), r * bins * 2);
    values[r * bins * 2 + 1] = 0;
    values[(r + 1) * bins * 2 - 2] = packed[r * n + 1];
  }
  return [timed('pffft', run), values];
}
