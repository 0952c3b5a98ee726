// Entry of `npm run bench`: names a bench and hands the rest of the arguments on.
import { spawnSync } from 'node:child_process';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const BENCHES = {
  accuracy: ['accuracy/run.mjs', 'how right the attribution is, on simulated scenes that nothing was learned on'],
  clocks: ['clocks/measure-clocks.mjs', 'how far clocks are off, and how far they would be if every lag were heard exactly'],
  kernels: ['kernels/bench-kernels.mjs', 'how fast the kernels are'],
  long: ['pipeline/long-study.mjs', 'how much memory and time a study of hours takes'],
  network: ['network/big-tables.mjs', 'how much time and memory the network of 16 birds and a million calls takes'],
  scaling: ['pipeline/scaling.mjs', 'how the cost of attribute grows with hours, tracks, calls and workers'],
  quiet: ['pipeline/quiet.mjs', 'what digital silence, denormal numbers and dead channels cost beside sound'],
  noise: ['accuracy/steady-noise.mjs', 'what steady sound in a part of the call band costs'],
  page: ['page/frame-times.mjs', 'how smoothly the review page pans 16 tracks, and how soon it shows a study of hours'],
  refit: ['refit/measure-refit.mjs', 'what a refit of the probabilities gains, and what it may cost'],
  watch: ['live/measure-watch.mjs', 'how near `watch` comes to `attribute`, how soon it tells a call, and what it costs'],
  separate: ['separate/measure-separation.mjs', 'what separation gains on overlapped calls'],
};
const [name, ...rest] = process.argv.slice(2);
const usage = `usage: npm run bench -- NAME [options]\n${Object.entries(BENCHES).map(([key, [, what]]) => `  ${key.padEnd(10)}${what}`).join('\n')}\n`;

if (name === '--help' || name === '-h') process.stdout.write(usage);
else if (!name || !(name in BENCHES)) {
  process.stderr.write(`bench: ${name ? `no bench '${name}'` : 'which one?'}\n${usage}`);
  process.exitCode = 2;
} else {
  const here = dirname(fileURLToPath(import.meta.url));
  const { status, error } = spawnSync(process.execPath, [join(here, BENCHES[name][0]), ...rest], { stdio: 'inherit' });
  if (error) process.stderr.write(`bench: cannot start: ${error.message}\n`);
  process.exitCode = status ?? 1;
}
