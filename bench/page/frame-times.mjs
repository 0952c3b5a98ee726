// How smoothly the page pans 16 tracks, and how soon the first picture of a study of hours stands: `npm run bench -- page [--hours H]`.
// Writes bench/runs/page-DATE.json. Frame times are those between animation frames while the view is moved a few pixels each frame, as a pointer or a held key does.
import { mkdtempSync, mkdirSync, openSync, writeSync, closeSync, ftruncateSync, writeFileSync, rmSync, existsSync } from 'node:fs';
import { cpus, tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import { execFileSync } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import { chromium } from 'playwright-core';

const root = join(dirname(fileURLToPath(import.meta.url)), '..', '..');
const { startReview } = await import(join(root, 'dist', 'review', 'server', 'start-review.js'));
const { buildWavHeader } = await import(join(root, 'dist', 'audio', 'wav-writer.js'));
const { formatCsv } = await import(join(root, 'dist', 'table', 'csv-table.js'));
const { callTable, trackTable } = await import(join(root, 'dist', 'table', 'table-specs.js'));

const option = (name, otherwise) => (process.argv.includes(name) ? Number(process.argv[process.argv.indexOf(name) + 1]) : otherwise);
const HOURS = option('--hours', 6);
const TRACKS = 16;
const RATE = 48000;
const CALLS_PER_HOUR = 250;

/** Sixteen tracks of noise with chirps for the first two minutes, silence (a sparse file) after; calls over all hours. */
function makeStudy(base) {
  const folder = join(base, 'result');
  mkdirSync(folder);
  const birds = Array.from({ length: TRACKS }, (_, j) => `bird${String(j + 1).padStart(2, '0')}`);
  const frameCount = HOURS * 3600 * RATE;
  const header = buildWavHeader({ sampleRateHz: RATE, channelCount: 1, encoding: 'pcm16', frameCount });
  birds.forEach((bird, j) => {
    const file = openSync(join(base, `${bird}.wav`), 'w');
    writeSync(file, header);
    const samples = new Int16Array(120 * RATE);
    let seed = j + 1;
    for (let i = 0; i < samples.length; i++) {
      seed = (Math.imul(seed, 1664525) + 1013904223) | 0;
      const t = i / RATE;
      const phase = (t + j * 0.13) % 0.7;
      samples[i] = (seed >> 25) + (phase < 0.12 ? 6000 * Math.sin(2 * Math.PI * (2000 + 9000 * phase) * phase) * Math.sin((Math.PI * phase) / 0.12) : 0);
    }
    writeSync(file, new Uint8Array(samples.buffer));
    ftruncateSync(file, header.length + 2 * frameCount);
    closeSync(file);
  });
  const calls = Array.from({ length: Math.round(HOURS * CALLS_PER_HOUR) * TRACKS }, (_, k) => {
    const onsetSec = Number(((k * HOURS * 3600) / (HOURS * CALLS_PER_HOUR * TRACKS) * 0.999).toFixed(6));
    const bird = birds[(k * 7) % TRACKS];
    return { callId: k + 1, bird, onsetSec, offsetSec: onsetSec + 0.12, onsetUtc: '', probability: 0.5 + ((k * 37) % 50) / 100, track: bird, levelDb: -20, snrDb: 20, peakHz: 2500, overlaps: 0, runnerUp: '', runnerUpProbability: 0 };
  });
  const hours = birds.flatMap((track) => Array.from({ length: HOURS }, (_, hour) => ({ track, recorder: '1', startSec: hour * 3600, usableSec: 3500, noiseFloorDb: -70, gainDb: 0, lostShare: 0.03 })));
  const study = { volary: 1, name: `Sixteen tracks, ${HOURS} h`, recorders: [{ name: '1' }], tracks: birds.map((bird) => ({ bird, recorder: '1', files: [{ path: `${bird}.wav`, channel: 1 }] })) };
  writeFileSync(join(base, 'study.json'), JSON.stringify(study));
  writeFileSync(join(folder, 'calls.csv'), formatCsv(callTable, calls));
  writeFileSync(join(folder, 'tracks.csv'), formatCsv(trackTable, hours));
  writeFileSync(join(folder, 'run.json'), JSON.stringify({ study: join(base, 'study.json') }));
  return { folder, callCount: calls.length };
}

const quantile = (sorted, q) => sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))];

function summarise(frameMs) {
  const sorted = [...frameMs].sort((a, b) => a - b);
  const round = (v) => Number(v.toFixed(2));
  return { frames: sorted.length, medianMs: round(quantile(sorted, 0.5)), p95Ms: round(quantile(sorted, 0.95)), worstMs: round(sorted[sorted.length - 1]), above17Share: round(sorted.filter((v) => v > 17.5).length / sorted.length) };
}

async function measure(page, spanSec, seconds) {
  await page.evaluate((span) => { const app = globalThis.volaryPage; app.view.show(2, span); app.actions.moved(); app.focusTracks(); }, spanSec);
  await page.waitForTimeout(4000);
  const work = await page.evaluate(async ({ ms }) => {
    const app = globalThis.volaryPage;
    const frameMs = [];
    const began = performance.now();
    let last = 0;
    await new Promise((resolve) => {
      const step = (now) => {
        if (performance.now() - began > ms) return resolve();
        if (last) frameMs.push(now - last);
        last = now;
        app.view.panBy(6);
        app.actions.moved();
        requestAnimationFrame(step);
      };
      requestAnimationFrame(step);
    });
    return frameMs.slice(2);
  }, { ms: seconds * 1000 });
  return summarise(work);
}

const places = ['/usr/bin/chromium', '/usr/bin/chromium-browser', '/usr/bin/google-chrome', ...(process.env.CHROMIUM ? [process.env.CHROMIUM] : [])];
const executablePath = places.reverse().find((p) => existsSync(p));
if (!executablePath) { process.stderr.write('bench: no Chromium; name it in CHROMIUM\n'); process.exit(1); }
const base = mkdtempSync(join(tmpdir(), 'volary-bench-'));
try {
  const { folder, callCount } = makeStudy(base);
  const server = await startReview(folder);
  const browser = await chromium.launch({ executablePath, args: ['--no-sandbox', ...(process.argv.includes('--gpu') ? [] : ['--disable-gpu'])] });
  const page = await browser.newPage({ viewport: { width: 1280, height: 720 } });
  const began = performance.now();
  await page.goto(server.url);
  await page.waitForFunction(() => globalThis.volaryPage !== undefined);
  const shownMs = performance.now() - began;
  // A tile of spectra has come when the stage says so.
  await page.waitForFunction(() => globalThis.volaryPage.stage.tiles.bytes > 0, undefined, { timeout: 60_000 });
  const spectraMs = performance.now() - began;
  const result = {
    date: new Date().toISOString().slice(0, 10), commit: execFileSync('git', ['rev-parse', '--short=10', 'HEAD'], { cwd: root, encoding: 'utf8' }).trim(), machine: `${cpus()[0].model}, ${cpus().length} cores`, node: process.version,
    browser: browser.version(), withGpu: process.argv.includes('--gpu'), tracks: TRACKS, hours: HOURS, calls: callCount, callsShownAfterMs: Math.round(shownMs), firstSpectraAfterMs: Math.round(spectraMs),
    panning: { 'span 8 s': await measure(page, 8, 6), 'span 1 s': await measure(page, 1, 6), 'span 60 s': await measure(page, 60, 6) },
  };
  await browser.close();
  await server.close();
  const text = `${JSON.stringify(result, null, 2)}\n`;
  process.stdout.write(text);
  if (!process.argv.includes('--dry')) writeFileSync(join(root, 'bench', 'runs', `page-${result.date}.json`), text);
} finally {
  rmSync(base, { recursive: true, force: true });
}
