// How far the clocks of a study's recorders are off, and how far they would be if every lag were heard exactly:
// npm run bench -- clocks [--seeds A-B] [--seconds N] [--preset NAME]
import { parseArgs } from 'node:util';
import { readOffset, readUncertainty } from '../../dist/model/clock.js';
import { fitClocksFully } from '../../dist/model/fit-clock.js';
import { drawRandomScene, SCENE_PRESETS } from '../../dist/simulate/random-scene.js';
import { simulateScene } from '../../dist/simulate/simulate-scene.js';
import { gatherInMemory } from '../learn/run-scene.mjs';
import { listExactLags, planStudy } from './exact-lags.mjs';

const USAGE = `usage: npm run bench -- clocks [options]
  --seeds A-B    seeds of the studies (default 9600-9607)
  --seconds N    length of a study (default: as the preset draws it, 60 to 90)
  --preset NAME  kind of room, one with several recorders (default two-clocks)
`;
/** Rates are compared over this time, or over the whole study, seconds. */
const RATE_SEC = 600;
/** The fit with exact lags starts this far off, ms. */
const START_OFF_MS = 1;

let options;
try {
  options = readOptions();
} catch (error) {
  process.stderr.write(`bench clocks: ${error.message}\n${USAGE}`);
  process.exit(2);
}
if (options.help) process.stdout.write(USAGE);
else await measureAll(options);

function readOptions() {
  const { values } = parseArgs({ options: { seeds: { type: 'string', default: '9600-9607' }, seconds: { type: 'string' }, preset: { type: 'string', default: 'two-clocks' }, help: { type: 'boolean', short: 'h' } } });
  const [from, to = from] = values.seeds.split('-').map(Number);
  if (!(Number.isInteger(from) && Number.isInteger(to) && from <= to)) throw new Error(`--seeds ${values.seeds}: expected A-B, whole numbers`);
  if (values.seconds !== undefined && !(Number(values.seconds) >= 10)) throw new Error(`--seconds ${values.seconds}: expected at least 10`);
  if (!SCENE_PRESETS.includes(values.preset)) throw new Error(`no preset '${values.preset}': expected ${SCENE_PRESETS.join(', ')}`);
  return { help: values.help, from, to, preset: values.preset, seconds: values.seconds && Number(values.seconds) };
}

async function measureAll({ from, to, preset, seconds }) {
  const rows = [];
  console.log('seed recorder tracks |  rms us  stated |  mean rate  10 min, ppm | exact lags, us | and no mouths, no delays');
  for (let seed = from; seed <= to; seed++) {
    try {
      for (const row of await measureStudy(seed, preset, seconds)) {
        rows.push(row);
        console.log(`${seed} ${row.recorder.padStart(8)} ${row.tracks.padStart(6)} | ${us(row.rmsMs)} ${us(row.statedMs)} | ${row.meanPpm.toFixed(3).padStart(10)} ${row.localPpm.toFixed(3).padStart(11)} | ${us(row.exactMs).padStart(14)} | ${us(row.pointMs)}`);
      }
    } catch (error) {
      console.log(`${seed}: ${error.message}`);
    }
  }
  if (rows.length > 0) summarise(rows);
}

async function measureStudy(seed, preset, seconds) {
  const scene = { ...drawRandomScene(seed, preset), ...(seconds ? { durationSec: seconds } : {}) };
  const { tracks, sampleRateHz, clock: truth } = simulateScene(scene, seed);
  const recorders = tracks.map((t) => t.recorder);
  const names = [...new Set(recorders)];
  const { evidence } = await gatherInMemory(tracks.map((t) => t.bird), recorders, tracks.map((t) => t.samples), sampleRateHz);
  const recorderOfTrack = recorders.map((r) => names.indexOf(r));
  const plan = planStudy(scene, seed);
  const fitExact = (options) => fitClocksFully({
    candidates: [], arrivals: listExactLags(plan, recorderOfTrack, options), recorderOfTrack, durationSec: scene.durationSec,
    coarse: names.map((name) => shiftTruth(truth.filter((row) => row.recorder === name), scene.durationSec)),
  }).clock;
  const [exact, point] = [fitExact({}), fitExact({ isPoint: true })];
  return names.slice(1).map((recorder, k) => {
    const own = truth.filter((row) => row.recorder === recorder);
    const errors = (clock) => own.map((row) => (readOffset(clock[k + 1], row.tRefSec) - row.offsetSec) * 1e3);
    const found = errors(evidence.clock);
    return {
      recorder, tracks: names.map((n) => recorders.filter((r) => r === n).length).join('+'), rmsMs: rms(found), ...compareRates(own, found),
      statedMs: rms(own.map((row) => readUncertainty(evidence.clock[k + 1], row.tRefSec) * 1e3)), exactMs: rms(errors(exact)), pointMs: rms(errors(point)),
    };
  });
}

/** The true clock, off by a constant; the reference has no rows. */
function shiftTruth(rows, durationSec) {
  const own = rows.length > 0 ? rows : [0, durationSec].map((tRefSec) => ({ tRefSec, offsetSec: -START_OFF_MS / 1e3 }));
  return { knotSec: own.map((r) => r.tRefSec), offsetSec: own.map((r) => r.offsetSec + START_OFF_MS / 1e3), uncertaintySec: own.map(() => 2e-3) };
}

function compareRates(rows, errorsMs) {
  const spanSec = rows[rows.length - 1].tRefSec - rows[0].tRefSec;
  const step = Math.max(1, Math.min(rows.length - 1, Math.round(RATE_SEC / (rows[1].tRefSec - rows[0].tRefSec))));
  const local = [];
  for (let n = 0; n + step < rows.length; n += Math.max(1, step >> 2)) local.push((1e3 * (errorsMs[n + step] - errorsMs[n])) / (rows[n + step].tRefSec - rows[n].tRefSec));
  return { meanPpm: (1e3 * (errorsMs[errorsMs.length - 1] - errorsMs[0])) / spanSec, localPpm: rms(local) };
}

function summarise(rows) {
  const of = (key) => rows.map((r) => Math.abs(r[key])).sort((a, b) => a - b);
  const at = (v, share) => v[Math.min(v.length - 1, Math.floor(share * v.length))];
  for (const [key, title] of [['rmsMs', 'error'], ['exactMs', 'with exact lags'], ['pointMs', 'and mouths at microphones, no delays']]) {
    const v = of(key);
    console.log(`${title}: ${rows.length} clocks, median ${us(at(v, 0.5)).trim()} us, 90 % below ${us(at(v, 0.9)).trim()}, worst ${us(v[v.length - 1]).trim()}; ${v.filter((e) => e < 0.015).length} below 15`);
  }
  console.log(`within twice what they state: ${rows.filter((r) => r.rmsMs <= 2 * r.statedMs).length}, stated median ${us(at(of('statedMs'), 0.5)).trim()} us; mean rate, rms ${rms(rows.map((r) => r.meanPpm)).toFixed(3)} ppm; rate over 10 min, rms ${rms(rows.map((r) => r.localPpm)).toFixed(3)} ppm`);
}

function rms(values) { return Math.sqrt(values.reduce((s, v) => s + v * v, 0) / values.length); }

function us(ms) { return (1e3 * ms).toFixed(1).padStart(7); }
