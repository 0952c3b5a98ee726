// What a refit gains and what it may cost: tables whose true probabilities are known and whose stated ones were distorted on purpose,
// refitted from few and from many judged rows. Printed: mean distance of stated and true probability over all rows, before and after
// (mean over tables), the same after a fit with labels without weights, and in how many tables the refit made it larger.
import { readOptions } from '../read-options.mjs';
import { judgeSample } from '../../dist/refit/judge-rows.js';
import { applyLine, fitLine, toLogOdds } from '../../dist/refit/rising-line.js';
import { RandomWords } from '../../dist/numeric/random-words.js';
import { drawSample } from '../../dist/score/sample-calls.js';
import { simulateDays } from '../../dist/simulate/days/simulate-days.js';

const { values } = readOptions({ options: { tables: { type: 'string', default: '40' }, 'first-seed': { type: 'string', default: '8000' } } });
const COUNTS = [25, 50, 100, 200, 400];

const toProbability = (z) => Math.min(0.9995, Math.max(0.0005, 1 / (1 + Math.exp(-z))));

/** What a badly calibrated table would say, log-odds to log-odds. */
const DISTORTIONS = {
  none: (z) => z,
  'too sure': (z) => 1.5 + 1.3 * z,
  'too unsure': (z) => 0.4 + 0.6 * z,
  'sure rows too sure': (z) => (z > 2 ? 2 + 1.8 * (z - 2) : z),
  'without a tag too sure': (z, isUntagged) => (isUntagged ? z + 2 : z),
};

/** A day of four birds; whether a row is right is drawn from its probability. */
function drawTable(seed) {
  const birds = ['red', 'blue', 'green', 'white'].map((name) => ({ name }));
  const random = new RandomWords(seed);
  const { calls } = simulateDays({ days: 1, birds, attribution: { wrong: 0.12, missed: 0.1, ghosts: 0 } }, seed);
  return calls.map((call) => ({ ...call, truth: call.probability, isRight: random.nextUnit() < call.probability, isUntagged: call.bird === 'none' }));
}

function measureTable(seed, distort, count) {
  const table = drawTable(seed).map((c) => ({ ...c, probability: Number(toProbability(distort(toLogOdds(c.truth), c.isUntagged)).toFixed(4)) }));
  const byId = new Map(table.map((c) => [c.callId, c]));
  const sample = drawSample(table, count, seed).drawn.map((d, n) => {
    const call = byId.get(d.callId);
    return { ...d, row: n + 2, bird: call.isRight ? call.bird : 'no_call', onsetSec: call.onsetSec };
  });
  const { rows } = judgeSample(table, sample);
  const distanceAfter = (line) => table.reduce((s, c) => s + Math.abs(applyLine(line, c.probability, c.isUntagged) - c.truth), 0) / table.length;
  return {
    before: table.reduce((s, c) => s + Math.abs(c.probability - c.truth), 0) / table.length,
    after: distanceAfter(fitLine(rows)), plain: distanceAfter(fitLine(rows.map((r) => ({ ...r, weight: 1 })))),
  };
}

process.stdout.write('distortion | judged | before | after | without weights | worse\n');
for (const [name, distort] of Object.entries(DISTORTIONS)) {
  for (const count of COUNTS) {
    const found = Array.from({ length: Number(values.tables) }, (_, k) => measureTable(Number(values['first-seed']) + k, distort, count));
    const mean = (key) => (found.reduce((s, f) => s + f[key], 0) / found.length).toFixed(4);
    process.stdout.write(`${[name, count, mean('before'), mean('after'), mean('plain'), found.filter((f) => f.after > f.before).length].join(' | ')}\n`);
  }
}
