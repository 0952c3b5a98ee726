// Draws docs/demo.svg, the picture in README, from the result of the demo: run `npm run demo` first. Takes its folder, else out/demo.
import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
const load = (path) => import(new URL(`../../dist/${path}`, import.meta.url));
const demo = process.argv[2] ?? join(root, 'out', 'demo');

const { chooseExcerpts, drawStandaloneExcerpt, renderExcerpts } = await load('report/index.js');
const { loadStudy } = await load('node/study-files.js');
const { loadKernelsFile } = await load('node/kernels-file.js');
const { StudyAudio } = await load('study/study-audio.js');
const { parseCsv } = await load('table/csv-table.js');
const { callTable, clockTable, soundTable } = await load('table/table-specs.js');
const { readLabels } = await load('table/labels.js');

const readTable = (spec) => parseCsv(spec, readFileSync(join(demo, 'result', `${spec.name}.csv`), 'utf8'), spec.name);
const calls = readTable(callTable);
const run = JSON.parse(readFileSync(join(demo, 'result', 'run.json'), 'utf8'));
const labels = readLabels(readFileSync(join(demo, 'recording', 'truth', 'truth.csv'), 'utf8'), 'truth.csv');
const study = await loadStudy(join(demo, 'study.json'));
const audio = new StudyAudio(study.timeline, study.openReader);
try {
  const chosen = chooseExcerpts(calls, { count: 1, lengthSec: 8, durationSec: study.timeline.durationSec });
  // 360 000 points keep the file below 300 kB.
  const [excerpt] = await renderExcerpts(await loadKernelsFile(), audio, chosen, { clock: readTable(clockTable), gainsDb: run.gainsDb, mostPixels: 360_000 });
  const svg = drawStandaloneExcerpt({ excerpt, calls, sounds: readTable(soundTable), labels }, 'Eight seconds of an invented aviary: who called when (black strokes: who really called)');
  mkdirSync(join(root, 'docs'), { recursive: true });
  writeFileSync(join(root, 'docs', 'demo.svg'), svg);
  process.stdout.write(`docs/demo.svg, ${(svg.length / 1000).toFixed(0)} kB\n`);
} finally {
  await audio.close();
}
