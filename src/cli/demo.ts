/** `npm run demo`: an invented aviary from simulation to report, with the same commands that a user types. */
import { spawn } from 'node:child_process';
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, relative } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { VolaryError } from '../schema/errors.js';
import type { Score } from '../score/score-calls.js';
import type { Estimate } from '../score/types.js';

const MAIN = fileURLToPath(new URL('./main.js', import.meta.url));
const SCENE = fileURLToPath(new URL('../../fixtures/demo/scene.json', import.meta.url));
const SEED = 5;
const USAGE = 'usage: demo [FOLDER] [--seconds N], with 10 to 600 seconds';

interface Paths { folder: string; recording: string; study: string; result: string; truth: string; report: string }

/** Runs one command of the program; ends the demo with its own message where it fails. */
function runStep(what: string, args: string[], accepted: readonly number[] = [0]): Promise<string> {
  process.stdout.write(`\n  ${what}\n  $ volary ${args.map(quoteShell).join(' ')}\n`);
  return new Promise((resolve, reject) => {
    const child = spawn(process.execPath, [MAIN, ...args], { stdio: ['ignore', 'pipe', 'inherit'] });
    let text = '';
    child.stdout.setEncoding('utf8').on('data', (part: string) => { text += part; });
    child.on('error', reject);
    child.on('close', (status) => {
      if (status !== null && accepted.includes(status)) resolve(text);
      else reject(new Error(`'volary ${args[0]}' ended with status ${status}`));
    });
  });
}

async function runDemo(folder: string, seconds: number | undefined): Promise<void> {
  const paths: Paths = {
    folder, recording: join(folder, 'recording'), study: join(folder, 'study.json'), result: join(folder, 'result'),
    truth: join(folder, 'recording', 'truth', 'truth.csv'), report: join(folder, 'report.html'),
  };
  const began = Date.now();
  mkdirSync(folder, { recursive: true });
  const scene = writeScene(folder, seconds);
  process.stdout.write('An invented aviary: because it is simulated, it is known who called, and the answer can be checked.\n');
  const made = JSON.parse(await runStep('Simulate the recording (with real birds this is your own recording)', ['simulate', scene, '--seed', String(SEED), '--out', paths.recording, '--force', '--json'])) as Made;
  process.stdout.write(describeMade(made, scene));
  await runStep('Look at the files and write a study to edit', ['draft', paths.recording, '-o', paths.study, '--name', 'Demo aviary', '--force']);
  const checked = await runStep('Is every track fit to use?', ['check', paths.study], [0, 1]);
  process.stdout.write(`    ${checked.trim().split('\n').pop()}\n`);
  await runStep('Find every call and say who made it', ['attribute', paths.study, '--out', paths.result, '--force']);
  await runStep('Hold the table against the truth', ['score', paths.result, '--labels', paths.truth]);
  await runStep('Tell it with pictures', ['report', paths.result, '--labels', paths.truth, '-o', paths.report, '--force']);
  const score = JSON.parse(readFileSync(join(paths.result, 'score.json'), 'utf8')) as Score;
  process.stdout.write(describeScore(score) + describeNext(paths, (Date.now() - began) / 1000));
}

/** The scene of the demo, shortened where asked. */
function writeScene(folder: string, seconds: number | undefined): string {
  if (seconds === undefined) return relative(process.cwd(), SCENE) || SCENE;
  const path = join(folder, 'scene.json');
  writeFileSync(path, JSON.stringify({ ...(JSON.parse(readFileSync(SCENE, 'utf8')) as object), durationSec: seconds }));
  return path;
}

interface Made { durationSec: number; sampleRateHz: number; tracks: number; calls: number; untagged: number; overlapped: number; otherSounds: number }

function describeMade(made: Made, scenePath: string): string {
  const scene = JSON.parse(readFileSync(scenePath, 'utf8')) as { recorders: { name: string }[]; birds: { tagged?: boolean; tag?: { gainDb?: number } }[] };
  const gains = scene.birds.filter((b) => b.tagged !== false).map((b) => b.tag?.gainDb ?? 0);
  return `    ${made.durationSec} s of ${made.tracks} tracks at ${made.sampleRateHz} Hz on ${scene.recorders.length} recorders with clocks of their own; receiver gains differ by up to ${Math.max(...gains) - Math.min(...gains)} dB\n`
    + `    ${made.calls} calls (${made.overlapped} overlapped, ${made.untagged} by a bird without a tag) and ${made.otherSounds} other sounds and faults: wings, preening, lost links, breakthrough\n`;
}

function describeScore(score: Score): string {
  const { columns, rows, counts } = score.attribution.confusion;
  const birds = [...score.counts.birds, 'none'];
  const lines = birds.map((bird) => {
    const own = rows.indexOf(bird);
    const column = columns.indexOf(bird);
    const called = counts[own]?.reduce((a, b) => a + b, 0) ?? 0;
    const right = counts[own]?.[column] ?? 0;
    const reported = counts.reduce((sum, row) => sum + (row[column] ?? 0), 0);
    return [bird === 'none' ? 'no tag' : bird, String(called), String(reported), String(right)];
  });
  const table = [['bird', 'called', 'reported', 'right'], ...lines].map(([name, ...numbers]) => `    ${name.padEnd(10)}${numbers.map((n) => n.padStart(10)).join('')}`);
  const { rightBird: r, attribution: a, ghosts: g, timing: t } = score;
  return `\nWhat was found\n${table.join('\n')}\n\nAccuracy against the truth (95 % intervals)\n`
    + `    right time and right bird: F1 ${show(r.f1)}, precision ${show(r.precision)}, recall ${show(r.recall)}\n`
    + `    right bird, of the calls found: ${show(a.accuracy)}\n`
    + `    rows in somebody else's call: ${g.count}; median onset error ${t.onset.medianMs.value?.toFixed(1) ?? '-'} ms\n`;
}

function show({ value, low, high }: Estimate): string {
  if (value === null) return '-';
  return low === null || high === null ? value.toFixed(3) : `${value.toFixed(3)} (${low.toFixed(3)} to ${high.toFixed(3)})`;
}

function describeNext(paths: Paths, seconds: number): string {
  return `\nThe report with pictures: ${pathToFileURL(paths.report).href}\nAll files are in ${paths.folder} (made in ${seconds.toFixed(0)} s).\n
For your own recordings, one file per bird in a folder:
    npx volary draft FOLDER -o study.json         look at the files; then check names in study.json
    npx volary check study.json                   is every track fit to use?
    npx volary attribute study.json --out result  find every call and say who made it
    npx volary sample result                      rows to verify by ear, for your own error rate
    npx volary report result                      the whole story as one HTML file
`;
}

function quoteShell(text: string): string {
  return /^[\w./:=-]+$/.test(text) ? text : `'${text.replaceAll("'", "'\\''")}'`;
}

/** `demo.js [FOLDER] [--seconds N]`: FOLDER is out/demo unless said. */
function readArguments(args: string[]): { folder: string; seconds: number | undefined } {
  const at = args.indexOf('--seconds');
  const seconds = at < 0 ? undefined : Number(args[at + 1]);
  const rest = at < 0 ? args : [...args.slice(0, at), ...args.slice(at + 2)];
  if (rest.length > 1 || rest.some((a) => a.startsWith('-')) || (seconds !== undefined && !(seconds >= 10 && seconds <= 600))) {
    throw new VolaryError('bad-option', { what: USAGE });
  }
  return { folder: rest[0] ?? join('out', 'demo'), seconds };
}

try {
  if (process.argv.slice(2).some((a) => a === '--help' || a === '-h')) {
    process.stdout.write(`${USAGE}\nSimulates an invented aviary, attributes its calls, scores them and writes a report; FOLDER is out/demo unless said.\n`);
  } else {
    const { folder, seconds } = readArguments(process.argv.slice(2));
    await runDemo(folder, seconds);
  }
} catch (error) {
  process.stderr.write(`demo: ${(error as Error).message}\n`);
  process.exitCode = error instanceof VolaryError && error.code === 'bad-option' ? 2 : 1;
}
