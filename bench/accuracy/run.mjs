// How right the attribution is: npm run bench -- accuracy [--scenes N] [--quick] [--without KIND ...] [--recorded DIR] [--voices DIR] [--no-write]
// Judges on seeds >= 6000, prints tables, writes bench/runs/accuracy-DATE.json and the block in README (not with --quick or --no-write).
import { execFileSync } from 'node:child_process';
import { existsSync, mkdirSync, writeFileSync } from 'node:fs';
import { cpus, totalmem } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { SCENE_PRESETS } from '../../dist/simulate/random-scene.js';
import { blindModels } from './blind-models.mjs';
import { findFeatures, KINDS } from './evidence-groups.mjs';
import { formatRun } from './format-tables.mjs';
import { listSeeds, readRecorded, RECORDED, simulate } from './grid.mjs';
import { judgeScene, listCalls, OURS, SHIPPED_MODELS } from './judge-scene.mjs';
import { PEERS } from './peers.mjs';
import { scoreHeard, scorePooled, summarise } from './pool-scenes.mjs';
import { readVoices, simulateVoiced, VOICED } from './voiced-scenes.mjs';
import { writeReadme } from './write-readme.mjs';

const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
const QUICK = { presets: ['normal', 'two-clocks'], scenes: 1, mostSec: 30 };
const USAGE = `usage: npm run bench -- accuracy [options]
  --scenes N      simulated scenes per preset (default 8, at most 100)
  --quick         one scene of 30 s of ${QUICK.presets.join(' and ')}, nothing written
  --presets A,B   only these presets, nothing written
  --without KIND  ablation by ${KINDS.join(', ')}; may be given several times (default: all; none with --quick). The shipped forests are
                  made blind to that evidence by holding its features at their median; they are not retrained
  --recorded DIR  folder of labelled scenes T1 to T4 (default ../shared/aviary, left out where it is not there)
  --voices DIR    recorded calls, a WAV file each, to be the voices of further simulated scenes (default ../shared/finch, left out where it is not there)
  --no-write      print only
`;

let options;
try {
  options = readOptions();
} catch (error) {
  process.stderr.write(`bench accuracy: ${error.message}\n${USAGE}`);
  process.exit(2);
}
if (options.help) process.stdout.write(USAGE);
else await runBench(options);

function readOptions() {
  const { values } = parseArgs({ options: {
    scenes: { type: 'string' }, quick: { type: 'boolean' }, presets: { type: 'string' }, without: { type: 'string', multiple: true }, recorded: { type: 'string' }, voices: { type: 'string' },
    'no-write': { type: 'boolean' }, help: { type: 'boolean', short: 'h' },
  } });
  const presets = values.presets?.split(',') ?? (values.quick ? QUICK.presets : [...SCENE_PRESETS]);
  const scenes = values.scenes === undefined ? (values.quick ? QUICK.scenes : 8) : Number(values.scenes);
  const without = values.without ?? (values.quick ? [] : KINDS);
  if (!(Number.isInteger(scenes) && scenes >= 1 && scenes <= 100)) throw new Error(`--scenes ${values.scenes}: expected 1 to 100`);
  for (const p of presets) if (!SCENE_PRESETS.includes(p)) throw new Error(`no preset '${p}': expected ${SCENE_PRESETS.join(', ')}`);
  for (const k of without) if (!KINDS.includes(k)) throw new Error(`no kind of evidence '${k}': expected ${KINDS.join(', ')}`);
  if (values.recorded && !existsSync(values.recorded)) throw new Error(`--recorded ${values.recorded}: no such folder`);
  if (values.voices && !existsSync(values.voices)) throw new Error(`--voices ${values.voices}: no such folder`);
  return {
    help: values.help, presets, scenes, without, mostSec: values.quick ? QUICK.mostSec : undefined, recorded: values.recorded ?? join(root, '..', 'shared', 'aviary'), voices: values.voices ?? join(root, '..', 'shared', 'finch'),
    isWritten: !values.quick && !values.presets && !values['no-write'], hasRecorded: !values.quick && !values.presets,
  };
}

async function runBench(o) {
  const began = Date.now();
  // Before the long part: every feature must belong to a kind of evidence.
  for (const kind of o.without) for (const forest of Object.values(SHIPPED_MODELS)) findFeatures(forest, kind);
  const groups = [];
  for (const preset of o.presets) {
    const seeds = listSeeds(preset, o.scenes);
    const scenes = [];
    for (const seed of seeds) scenes.push(await judge(simulate(preset, seed, o.mostSec)));
    groups.push({ name: preset, seeds, judged: scenes });
  }
  const birds = o.hasRecorded ? await readVoices(o.voices) : {};
  if (o.hasRecorded && Object.keys(birds).length === 0) process.stderr.write(`no recorded calls in ${o.voices}: scenes with real voices left out\n`);
  for (const group of Object.keys(birds).length ? VOICED : []) {
    const seeds = Array.from({ length: o.scenes }, (_, k) => group.firstSeed + k);
    const scenes = [];
    for (const seed of seeds) scenes.push(await judge(simulateVoiced(group, seed, birds)));
    groups.push({ name: group.name, seeds, judged: scenes });
  }
  const recorded = o.hasRecorded ? RECORDED.filter((name) => existsSync(join(o.recorded, name, 'channels.csv'))) : [];
  if (o.hasRecorded && recorded.length === 0) process.stderr.write(`no labelled scenes T1 to T4 in ${o.recorded}: left out\n`);
  for (const name of recorded) groups.push({ name, seeds: [], judged: [await judge(await readRecorded(o.recorded, name))] });

  for (const kind of o.without) addAblation(groups, kind);
  process.stderr.write('scoring\n');
  const run = {
    bench: 'accuracy', date: new Date().toISOString().slice(0, 10), commit: describeCommit(),
    machine: { cpu: cpus()[0]?.model.trim() ?? 'unknown', cores: cpus().length, memoryGib: Math.round(totalmem() / 2 ** 30), platform: process.platform, arch: process.arch, node: process.version },
    groups: groups.map(describeGroup), wallSec: 0,
  };
  run.wallSec = Math.round((Date.now() - began) / 1000);
  process.stdout.write(formatRun(run));
  if (!o.isWritten) return;
  const path = join(root, 'bench', 'runs', `accuracy-${run.date}.json`);
  mkdirSync(dirname(path), { recursive: true });
  writeFileSync(path, `${JSON.stringify(run, roundNumbers, 1)}\n`);
  if (existsSync(join(root, 'README.md'))) writeReadme(run);
  process.stderr.write(`written: bench/runs/accuracy-${run.date}.json and the block in README.md\n`);
}

async function judge(scene) {
  const judged = await judgeScene(scene);
  process.stderr.write(`${judged.name}: ${judged.truth.length} calls, ${judged.trackCount} tracks, ${judged.cpuSec.toFixed(1)} s\n`);
  return judged;
}

/** Calls of all scenes from forests blind to a kind of evidence, as one more method. */
function addAblation(groups, kind) {
  process.stderr.write(`without ${kind}\n`);
  const all = groups.flatMap((g) => g.judged);
  const models = blindModels(SHIPPED_MODELS, kind, all);
  all.forEach((s, k) => { s.calls[`without ${kind}`] = listCalls(s.birds, s.evidence, models[k]); });
}

function describeGroup({ name, seeds, judged }) {
  const methods = Object.fromEntries([OURS, ...PEERS].map((m) => [m, summarise(scorePooled(judged, m), m === OURS)]));
  methods[OURS].untaggedHeard = scoreHeard(judged, OURS);
  const kinds = KINDS.filter((k) => `without ${k}` in judged[0].calls);
  const scenes = judged.map((s) => ({
    name: s.name, seed: s.seed, durationSec: s.durationSec, trackCount: s.trackCount, sampleRateHz: s.sampleRateHz, labels: s.truth.length,
    rightBirdF1: scorePooled([s], OURS, { resamples: 20 }).rightBird.f1.value, clockRmsMs: s.clockRmsMs, cpuSec: s.cpuSec,
  }));
  const ablation = kinds.length ? Object.fromEntries(kinds.map((k) => [k, summarise(scorePooled(judged, `without ${k}`), true)])) : undefined;
  return { name, seeds, scenes, methods, ablation };
}

/** Commit of the checkout, marked where what is measured differs from it. */
function describeCommit() {
  try {
    const git = (...args) => execFileSync('git', ['-C', root, ...args], { encoding: 'utf8', stdio: ['ignore', 'pipe', 'ignore'] }).trim();
    return git('rev-parse', '--short=10', 'HEAD') + (git('status', '--porcelain', '--', 'src', 'assembly', 'bench/learn', 'bench/accuracy') ? ' with changes' : '');
  } catch { return 'unknown'; }
}

function roundNumbers(_, v) {
  return typeof v === 'number' && !Number.isInteger(v) ? Number(v.toPrecision(7)) : v;
}
