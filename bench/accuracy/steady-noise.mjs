// How much other sound costs: scenes as they are, and with a fan, a whistle, mains, a slope, drops or clicks added to every track, each with noise, phases or moments of its own.
import { existsSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { scoreCalls } from '../../dist/score/score-calls.js';
import { readOptions } from '../read-options.mjs';
import { readRecorded, simulate } from './grid.mjs';
import { judgeScene, OURS } from './judge-scene.mjs';

const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
const { values } = readOptions({ options: { recorded: { type: 'string', default: join(root, '..', 'shared', 'aviary') }, seeds: { type: 'string', default: '6100,6101,6102' } } });

const seeds = values.seeds.split(',').map(Number);
if (!seeds.every((n) => Number.isInteger(n) && n >= 0)) {
  process.stderr.write(`steady-noise: wrong --seeds; got ${values.seeds}; expected whole numbers with commas between, such as 6100,6101\n`);
  process.exit(2);
}

/** Park and Miller's minimal standard generator, in (0, 1). */
const uniformOf = (seed) => {
  let state = seed;
  return () => { state = (16807 * state) % 2147483647; return state / 2147483647; };
};
const whiteOf = (seed) => {
  const next = uniformOf(seed);
  return () => Math.sqrt(-2 * Math.log(next())) * Math.cos(2 * Math.PI * next());
};
/** Butterworth section of second order by the bilinear transform (Oppenheim & Schafer 7.1). */
const section = (edgeHz, isLow, rate) => {
  const k = Math.tan((Math.PI * edgeHz) / rate), norm = 1 / (1 + Math.SQRT2 * k + k * k), b = isLow ? k * k * norm : norm, s = isLow ? 2 : -2;
  let x1 = 0, x2 = 0, y1 = 0, y2 = 0;
  return (x) => { const y = b * (x + s * x1 + x2) - 2 * (k * k - 1) * norm * y1 - (1 - Math.SQRT2 * k + k * k) * norm * y2; x2 = x1; x1 = x; y2 = y1; y1 = y; return y; };
};
const between = (low, high) => (track, rate) => {
  const noise = whiteOf(77 + track), parts = [section(low, false, rate), section(high, true, rate), section(low, false, rate), section(high, true, rate)];
  return () => parts.reduce((x, part) => part(x), noise());
};
/** Sounds that begin at random moments and fade. */
const fading = ({ perSec, peak, fadeSec, lowHz, highHz }) => (track, rate) => {
  const white = uniformOf(77 + track), keep = Math.exp(-1 / (fadeSec * rate));
  let height = 0, step = 0, since = 0;
  return () => {
    if (white() < perSec / rate) {
      height = peak * white();
      step = (2 * Math.PI * (lowHz + (highHz - lowHz) * white())) / rate;
      since = 0;
    }
    const y = height * Math.sin(step * ++since);
    height *= keep;
    return y;
  };
};
const SOUNDS = {
  fan: { db: -30, text: 'noise of 400 to 900 Hz, -30 dBFS', make: between(400, 900) },
  band: { db: -45, text: 'noise of 3.5 to 4.5 kHz, -45 dBFS', make: between(3500, 4500) },
  whistle: { db: -30, text: 'tone of 3 kHz, -30 dBFS', make: (track, rate) => (i) => Math.sin((2 * Math.PI * 3000 * i) / rate + track) },
  mains: { db: -20, text: '20 harmonics of 50 Hz, -20 dBFS', make: (track, rate) => (i) => { let a = 0; for (let h = 1; h <= 20; h++) a += Math.sin((2 * Math.PI * 50 * h * i) / rate + track * h) / h; return a; } },
  slope: { db: -45, text: 'noise falling 6 dB per octave, -45 dBFS', make: (track, rate) => { const noise = whiteOf(77 + track), high = section(60, false, rate); let a = 0; return () => high(a = 0.9995 * a + noise()); } },
  drops: { text: '2 drops a second that fade by e in 1.3 ms, peaks up to -34 dBFS', make: fading({ perSec: 2, peak: 0.02, fadeSec: 0.0013, lowHz: 2000, highHz: 8000 }) },
  clicks: { text: '20 clicks a second that fade by e in .05 ms, peaks up to -20 dBFS', make: fading({ perSec: 20, peak: 0.1, fadeSec: 0.00005, lowHz: 5000, highHz: 5000 }) },
};

function add(scene, { make, db }) {
  const signals = scene.signals.map((x, track) => {
    const sound = make(track, scene.sampleRateHz), y = Float32Array.from(x, (_, i) => sound(i));
    const scale = db === undefined ? 1 : 10 ** (db / 20) / Math.sqrt(y.reduce((s, v) => s + v * v, 0) / y.length);
    return x.map((v, i) => v + scale * y[i]);
  });
  return { ...scene, signals };
}

const scenes = [];
for (const name of ['T2', 'T3']) {
  if (existsSync(join(values.recorded, name, 'channels.csv'))) scenes.push([name, () => readRecorded(values.recorded, name)]);
  else process.stderr.write(`no labelled scene ${name} in ${values.recorded}: left out\n`);
}
for (const seed of seeds) scenes.push([`normal ${seed}`, async () => simulate('normal', seed)]);

process.stdout.write(`F1 of right time and right bird / detection\n\n| scene | as it is | ${Object.values(SOUNDS).map((s) => s.text).join(' | ')} |\n|${'---|'.repeat(2 + Object.keys(SOUNDS).length)}\n`);
for (const [name, read] of scenes) {
  const scene = await read();
  const cells = [];
  for (const sound of [undefined, ...Object.values(SOUNDS)]) {
    const { calls, truth } = await judgeScene(sound ? add(scene, sound) : scene);
    const { rightBird, detection } = scoreCalls(calls[OURS], truth, { resamples: 1 });
    cells.push(`${rightBird.f1.value.toFixed(3)} / ${detection.f1.value.toFixed(3)}`);
    process.stderr.write(`${name}, ${sound?.text ?? 'as it is'}: ${cells.at(-1)}\n`);
  }
  process.stdout.write(`| ${name} | ${cells.join(' | ')} |\n`);
}
