// How the cost of `attribute` grows with hours, tracks, call rate and workers, on recordings of the simulator, and what silence costs.
// node bench/pipeline/scaling.mjs [--minutes 5] [--repeats 3] [--only hours,tracks,calls,workers,layout]    Writes bench/runs/scaling-DATE.json and .svg.
// Each figure is the median over the repeats, cases in turn (A B C A B C), so that a busy machine is busy for all. Processor time is what the
// program and its workers used; it is steadier than time on the clock where other things run.
import { spawn } from 'node:child_process';
import { mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { cpus } from 'node:os';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { readOptions } from '../read-options.mjs';
import { drawScaling } from './draw-scaling.mjs';
import { writeRecording } from './make-recording.mjs';

const { values } = readOptions({ options: { minutes: { type: 'string', default: '5' }, repeats: { type: 'string', default: '3' }, only: { type: 'string', default: 'hours,tracks,calls,workers,layout' } } });
const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
const folder = join(root, 'out', 'scaling');
const base = { minutes: Number(values.minutes), birds: 8, callsPerSec: 1, workers: 2, layout: 'one', encoding: 'pcm16', silentTracks: 0 };
const series = {
  hours: [1, 2, 4].map((n) => ({ label: `${n * base.minutes} min`, x: n * base.minutes, minutes: n * base.minutes })),
  tracks: [2, 4, 8, 16].map((birds) => ({ label: `${birds} tracks`, x: birds, birds })),
  calls: [0.1, 1, 5, 20].map((callsPerSec) => ({ label: `${callsPerSec} calls/s`, x: callsPerSec, callsPerSec })),
  workers: [1, 2, 4].map((workers) => ({ label: `${workers} workers`, x: workers, workers })),
  layout: [
    { label: 'one file, 16 bit', layout: 'one' }, { label: 'one file, 24 bit', encoding: 'pcm24' }, { label: 'a file per track', layout: 'each' },
    { label: 'four of eight tracks dead', silentTracks: 4 },
  ].map((c, x) => ({ x, ...c })),
};

const names = values.only.split(',');
const wrong = names.find((name) => !(name in series)) ?? ['minutes', 'repeats'].find((name) => !(Number(values[name]) > 0));
if (wrong !== undefined) {
  process.stderr.write(`bench scaling: '${wrong}': --only takes ${Object.keys(series).join(', ')}, --minutes and --repeats numbers above 0\n`);
  process.exit(2);
}

const result = { machine: `${cpus().length} x ${cpus()[0]?.model ?? 'unknown'}`, node: process.version, date: new Date().toISOString().slice(0, 10), base, series: {} };
for (const name of names) {
  rmSync(folder, { recursive: true, force: true });
  const cases = series[name].map((c, n) => ({ ...base, ...c, folder: join(folder, String(n)) }));
  for (const c of cases) Object.assign(c, writeRecording(c.folder, c));
  const runs = cases.map(() => []);
  for (let r = 0; r < Number(values.repeats); r++) for (const [n, c] of cases.entries()) runs[n].push(await runWatched(c));
  result.series[name] = cases.map((c, n) => {
    const middle = (key) => runs[n].map((x) => x[key]).sort((a, b) => a - b)[runs[n].length >> 1];
    const row = { label: c.label, x: c.x, durationSec: c.durationSec, tracks: c.trackCount, trueCalls: c.trueCalls, calls: runs[n][0].calls, tookSec: middle('tookSec'), processorSec: middle('processorSec'), peakMiB: middle('peakMiB') };
    row.timesRealTime = Number((c.durationSec / row.tookSec).toFixed(1));
    process.stdout.write(`${name}: ${row.label}: ${row.timesRealTime} times real time, ${((1000 * row.processorSec) / c.durationSec).toFixed(2)} ms of processor per second, ${row.peakMiB} MiB, ${row.calls} calls\n`);
    return row;
  });
}
rmSync(folder, { recursive: true, force: true });
mkdirSync(join(root, 'bench', 'runs'), { recursive: true });
writeFileSync(join(root, 'bench', 'runs', `scaling-${result.date}.json`), `${JSON.stringify(result, null, 2)}\n`);
writeFileSync(join(root, 'bench', 'runs', `scaling-${result.date}.svg`), drawScaling(result));

/** Runs `attribute` once; processor time and largest memory are those of the process and its threads (where there is /proc). */
function runWatched({ study, folder: own, workers }) {
  const out = join(own, 'result');
  rmSync(out, { recursive: true, force: true });
  const began = performance.now();
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, [join(root, 'dist', 'cli', 'main.js'), 'attribute', study, '--out', out, '--workers', String(workers)], { stdio: ['ignore', 'ignore', 'ignore'] });
    let peakMiB = 0;
    let processorSec = 0;
    const look = () => {
      try {
        peakMiB = Math.max(peakMiB, Math.round(Number(/^VmHWM:\s+(\d+)/m.exec(readFileSync(`/proc/${child.pid}/status`, 'utf8'))?.[1] ?? 0) / 1024));
        const fields = readFileSync(`/proc/${child.pid}/stat`, 'utf8').split(') ')[1].split(' ');
        // In hundredths of a second on all common systems (proc(5): utime and stime).
        processorSec = Math.max(processorSec, (Number(fields[11]) + Number(fields[12])) / 100 || 0);
      } catch { /* not there, or no longer */ }
    };
    const timer = setInterval(look, 50);
    child.on('exit', (status) => {
      clearInterval(timer);
      if (status !== 0) return reject(new Error(`attribute ended with status ${status}`));
      resolve({ tookSec: (performance.now() - began) / 1000, processorSec, peakMiB, calls: readFileSync(join(out, 'calls.csv'), 'utf8').trim().split('\n').length - 1 });
    });
  });
}
