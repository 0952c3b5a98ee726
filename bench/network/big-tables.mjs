// Memory and time of `network` on the tables of a large invented study, made with the simulator of days.
// node bench/network/big-tables.mjs [--birds 16] [--days 14] [--calls-per-hour 275] [--surrogates 2000] [--draws 100] [--seed 1] [--keep]
// The tables lie below out/: about 130 MB per million calls. --keep leaves them there, and a later run with the same numbers uses them again.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { cpus } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { readOptions } from '../read-options.mjs';

const { values } = readOptions({ options: {
  birds: { type: 'string', default: '16' }, days: { type: 'string', default: '14' }, 'calls-per-hour': { type: 'string', default: '275' },
  surrogates: { type: 'string', default: '2000' }, draws: { type: 'string', default: '100' }, seed: { type: 'string', default: '1' }, keep: { type: 'boolean', default: false },
} });
const wrong = Object.keys(values).find((name) => name !== 'keep' && !(Number(values[name]) > 0));
if (wrong) {
  process.stderr.write(`bench network: --${wrong} ${values[wrong]}: expected a number above 0\n`);
  process.exit(2);
}
const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
const folder = join(root, 'out', 'big-network', [values.birds, values.days, values['calls-per-hour'], values.seed].join('-'));
const cli = join(root, 'dist', 'cli', 'main.js');
// The program itself says at its end what it took: the same on every system.
const teller = `data:text/javascript,process.on('exit',()=>{const u=process.resourceUsage();process.stderr.write('\\nused '+JSON.stringify({peakMib:Math.round(u.maxRSS/1024),processorSec:Math.round((u.userCPUTime+u.systemCPUTime)/1e5)/10})+'\\n')})`;

if (!existsSync(join(folder, 'calls.csv'))) makeTables();
const began = performance.now();
const { status, stdout, stderr } = spawnSync(process.execPath, ['--import', teller, cli, 'network', folder, '--surrogates', values.surrogates, '--draws', values.draws], { encoding: 'utf8', stdio: ['ignore', 'pipe', 'pipe'] });
if (status !== 0) {
  process.stderr.write(`network ended with status ${status}\n${stderr}`);
  process.exitCode = 1;
} else {
  const used = JSON.parse(/\nused (\{.*\})/.exec(stderr)[1]);
  process.stdout.write(`${stdout}\n${JSON.stringify({
    birds: Number(values.birds), surrogates: Number(values.surrogates), draws: Number(values.draws), tookSec: Math.round((performance.now() - began) / 1000), ...used,
    machine: `${cpus().length} x ${cpus()[0].model}`, node: process.version,
  })}\n`);
}
if (!values.keep) rmSync(folder, { recursive: true, force: true });

/** Birds in a ring: each second one is answered by the next with links of .1 to .4, so that there are edges to find. */
function makeTables() {
  const names = Array.from({ length: Number(values.birds) }, (_, k) => `bird-${String(k + 1).padStart(2, '0')}`);
  mkdirSync(folder, { recursive: true });
  const study = join(folder, 'days.json');
  writeFileSync(study, JSON.stringify({
    name: 'many birds, many calls', days: Number(values.days), birds: names.map((name) => ({ name, callsPerHour: Number(values['calls-per-hour']) })),
    pairs: names.flatMap((caller, k) => (k % 2 === 0 ? [{ caller, replier: names[(k + 1) % names.length], probability: 0.1 * (1 + ((k / 2) % 4)) }] : [])),
  }));
  const made = spawnSync(process.execPath, ['--max-old-space-size=6000', cli, 'simulate', study, '--tables', '--out', folder, '--seed', values.seed], { stdio: ['ignore', 'inherit', 'inherit'] });
  if (made.status !== 0) process.exit(1);
}
