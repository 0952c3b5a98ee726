import { spawn } from 'node:child_process';
import type { ChildProcess } from 'node:child_process';
import { appendFileSync, readFileSync, rmSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { chromium, type Browser, type Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { LabelEntry } from '../../src/review/labels.js';
import { readLabels } from '../../src/table/labels.js';
import { findChromium } from '../browser/find-chromium.js';
import { writeScene } from '../browser/small-scene.js';
import { MAIN, newFolder, runCli } from '../cli/run-cli.js';
import { writeResult } from './review-fixture.js';

const root = fileURLToPath(new URL('../../', import.meta.url));
const executablePath = findChromium();
if (!executablePath) console.warn('test/review: SKIPPED the tests of the page, for no Chromium was found in PATH or the usual places (Debian: apt-get install chromium)');

const axeSource = readFileSync(join(root, 'node_modules', 'axe-core', 'axe.min.js'), 'utf8');

const FLAGS = ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'];

/** Starts `volary review` as a user does and waits for its address. */
async function startProgram(folder: string): Promise<{ child: ChildProcess; url: string }> {
  const child = spawn(process.execPath, [MAIN, 'review', folder, '--json'], { stdio: ['ignore', 'pipe', 'inherit'] });
  const url = await new Promise<string>((resolve, reject) => {
    child.stdout!.setEncoding('utf8').once('data', (text: string) => resolve((JSON.parse(text) as { url: string }).url));
    child.once('exit', (status) => reject(new Error(`review ended with ${status}`)));
  });
  return { child, url };
}

const endProgram = (child: ChildProcess, signal: NodeJS.Signals): Promise<number | null> => new Promise((resolve) => { if (child.exitCode !== null || child.signalCode !== null) return resolve(child.exitCode); child.removeAllListeners('exit').once('exit', (status) => resolve(status)); child.kill(signal); });

describe.skipIf(!executablePath)('page', () => {
  const { folder } = writeResult();
  const trouble: string[] = [];
  const asked: string[] = [];
  let browser: Browser;
  let page: Page;
  let program: Awaited<ReturnType<typeof startProgram>>;

  const watch = (p: Page): void => {
    p.on('pageerror', (e) => trouble.push(e.message));
    p.on('console', (m) => { if (m.type() === 'error' || /Content Security/.test(m.text())) trouble.push(m.text()); });
    p.on('request', (r) => asked.push(r.url()));
  };
  const open = async (url: string, p = page): Promise<void> => {
    await p.goto(url);
    await p.waitForFunction(() => globalThis.volaryPage !== undefined);
  };
  const labels = (): ReturnType<typeof readLabels> => readLabels(readFileSync(join(folder, 'labels.csv'), 'utf8'));
  const saved = (p = page): Promise<unknown> => p.waitForFunction(() => document.body.dataset.saved === 'true');
  const view = (): Promise<{ startSec: number; spanSec: number }> => page.evaluate(() => ({ startSec: globalThis.volaryPage!.view.startSec, spanSec: globalThis.volaryPage!.view.spanSec }));
  const settle = (): Promise<unknown> => page.waitForFunction(() => globalThis.volaryPage!.view.goal === (globalThis.volaryPage!.view as unknown));
  const checkAccess = async (p = page): Promise<string[]> => {
    // By the debugger's door: the page's own policy lets no foreign script in.
    await p.evaluate(axeSource);
    const found = await p.evaluate(() => (globalThis as unknown as { axe: { run(where: Document, options: object): Promise<{ violations: { id: string; nodes: { html: string; failureSummary: string }[] }[] }> } }).axe.run(document, { resultTypes: ['violations'] }));
    return found.violations.map((v) => `${v.id}: ${v.nodes[0].html.slice(0, 120)} ${v.nodes[0].failureSummary.slice(0, 200)}`);
  };

  beforeAll(async () => {
    [browser, program] = await Promise.all([chromium.launch({ executablePath, headless: true, args: FLAGS }), startProgram(folder)]);
    page = await (await browser.newContext({ viewport: { width: 1280, height: 720 }, reducedMotion: 'reduce' })).newPage();
    watch(page);
    await open(program.url);
  });

  afterAll(async () => {
    await browser?.close();
    if (program) await endProgram(program.child, 'SIGKILL');
    rmSync(dirname(folder), { recursive: true, force: true });
  });

  it('draws the spectrogram of a call where the call is', async () => {
    await page.keyboard.press('.');
    await page.waitForFunction(() => {
      const app = globalThis.volaryPage!;
      const { canvas, layout } = app.stage;
      const context = canvas.getContext('2d')!;
      // The mean brightness of the picture of a track, inside a call of its bird and just before the call.
      const shade = (fromSec: number, track: number): number => {
        const [x, top] = [Math.round(app.view.toPx(fromSec) * layout.ratio), (layout.axisPx + track * layout.rowPx + layout.lanePx + 4) * layout.ratio];
        const { data } = context.getImageData(x, top, Math.round((0.05 / app.view.secPerPx) * layout.ratio), (layout.rowPx - layout.lanePx - 8) * layout.ratio);
        return data.reduce((s, v, i) => s + (i % 4 < 3 ? v : 0), 0) / data.length;
      };
      const call = app.state.items.find((i) => i.onsetSec > app.view.startSec + 0.5 && i.id !== app.state.selected?.id)!;
      return shade(call.onsetSec - 0.12, call.track) - shade(call.onsetSec + 0.03, call.track) > 8;
    }, undefined, { timeout: 20_000 });
  });

  it('pans and zooms by keys and wheel, down to milliseconds', async () => {
    await page.focus('canvas.tracks');
    await page.keyboard.press('w');
    await settle();
    expect(await view()).toMatchObject({ startSec: 0, spanSec: 10 });
    for (let k = 0; k < 3; k++) await page.keyboard.press('+');
    await settle();
    const close = await view();
    expect(close.spanSec).toBeCloseTo(1.25, 6);
    await page.keyboard.press('ArrowRight');
    await settle();
    expect((await view()).startSec - close.startSec).toBeCloseTo(0.25, 6);
    await page.mouse.move(500, 300);
    const under = await page.evaluate(() => globalThis.volaryPage!.view.toSec(500 - globalThis.volaryPage!.stage.canvas.getBoundingClientRect().left));
    for (let k = 0; k < 14; k++) await page.mouse.wheel(0, -400);
    await page.waitForFunction(() => globalThis.volaryPage!.view.spanSec < 0.021);
    expect(await page.evaluate(() => globalThis.volaryPage!.view.toSec(500 - globalThis.volaryPage!.stage.canvas.getBoundingClientRect().left))).toBeCloseTo(under, 4);
    await page.keyboard.press('Escape');
  });

  it('shows what speaks for a call: levels, lags and why', async () => {
    await page.keyboard.press('.');
    const table = page.locator('.levels tbody tr');
    await table.first().waitFor();
    const rows = await table.evaluateAll((all) => all.map((r) => [...r.querySelectorAll('.num')].map((c) => c.textContent)));
    expect(rows).toHaveLength(3);
    const others = rows.filter((r) => r[0] !== '0.0');
    // The fixture makes the others 20 dB softer and 2 ms later.
    for (const [level, lag] of others) {
      expect(Number(level)).toBeGreaterThan(-22);
      expect(Number(level)).toBeLessThan(-18);
      expect(Number(lag)).toBeCloseTo(2, 1);
    }
    expect(await page.locator('.why').textContent()).toMatch(/Loudest on .*2 other tracks.*2\.0/);
  });

  it('plays the call, slowed when asked', async () => {
    await page.keyboard.press('s');
    await page.keyboard.press('s');
    await page.keyboard.press(' ');
    await page.waitForFunction(() => document.body.dataset.playing === 'true');
    const heard = await page.evaluate(() => {
      const { player } = globalThis.volaryPage!;
      return { state: (player as unknown as { context: AudioContext }).context.state, speed: player.speed };
    });
    expect(heard).toEqual({ state: 'running', speed: 0.25 });
    await page.waitForFunction(() => document.body.dataset.playing === 'false');
  });

  it('corrects bird, times and kind, adds, undoes and redoes, safely on the disk each time', async () => {
    await page.evaluate(() => globalThis.volaryPage!.actions.select(globalThis.volaryPage!.state.get('c4')));
    await page.focus('canvas.tracks');
    for (const key of ['3', ']', 'Enter']) await page.keyboard.press(key);
    await saved();
    expect(labels().map((l) => [l.bird, l.onsetSec, l.extra.call_id, l.extra.kind])).toEqual([['red', 1.202, '4', 'call']]);
    await page.fill('#end', '1.42');
    await page.keyboard.press('Tab');
    await page.selectOption('#kind', 'song');
    await saved();
    expect(labels().map((l) => [l.offsetSec, l.extra.kind])).toEqual([[1.42, 'song']]);
    await page.evaluate(() => globalThis.volaryPage!.actions.addCall(1, 5.05, 5.1));
    await page.focus('canvas.tracks');
    await saved();
    expect(labels()).toHaveLength(2);
    await page.keyboard.press('z');
    await saved();
    expect(labels()).toHaveLength(1);
    await page.keyboard.press('Shift+Z');
    await saved();
    expect(labels().map((l) => l.bird)).toEqual(['red', 'green']);
    await page.keyboard.press('x');
    await page.keyboard.press('z');
    await saved();
    expect(readFileSync(join(folder, 'labels.jsonl'), 'utf8').trimEnd().split('\n').length).toBeGreaterThan(8);
  });

  it('shows in one window what another has corrected', async () => {
    const second = await page.context().newPage();
    watch(second);
    await open(program.url, second);
    expect(await second.evaluate(() => globalThis.volaryPage!.state.get('c4')!.bird)).toBe('red');
    await second.evaluate(() => { const { state, actions } = globalThis.volaryPage!; state.select(state.get('c7')); actions.setBird('none'); });
    await page.waitForFunction(() => globalThis.volaryPage!.state.get('c7')!.bird === 'none');
    expect(await page.evaluate(() => { const { state } = globalThis.volaryPage!; state.select(state.get('c7')); return state.selected!.status; })).toBe('changed');
    await second.close();
  });

  it('says that nothing was undone where another window has changed it since', async () => {
    const second = await page.context().newPage();
    watch(second);
    await open(program.url, second);
    await page.evaluate(() => { const { state, actions } = globalThis.volaryPage!; state.select(state.get('c9')); actions.setBird('blue'); });
    await saved();
    await second.waitForFunction(() => globalThis.volaryPage!.state.get('c9')!.bird === 'blue');
    await second.evaluate(() => { const { state, actions } = globalThis.volaryPage!; state.select(state.get('c9')); actions.setBird('green'); });
    await page.waitForFunction(() => globalThis.volaryPage!.state.get('c9')!.bird === 'green');
    await page.focus('canvas.tracks');
    await page.keyboard.press('z');
    expect([await page.locator('.voice').textContent(), await page.evaluate(() => globalThis.volaryPage!.state.get('c9')!.bird)]).toEqual(['Not undone: another window has changed this since.', 'green']);
    await second.close();
  });

  it('calls nothing saved that is not on the disk, warns before it is closed, and saves in order when it can again', async () => {
    const warns = (): Promise<boolean> => page.evaluate(() => { const e = new Event('beforeunload', { cancelable: true }); dispatchEvent(e); return e.defaultPrevented; });
    const confirm = (id: string): Promise<void> => page.evaluate((c) => { const { state, actions } = globalThis.volaryPage!; state.select(state.get(c)); actions.confirm(); }, id);
    const written = (): string[] => readFileSync(join(folder, 'labels.jsonl'), 'utf8').trimEnd().split('\n').slice(1).flatMap((line) => (JSON.parse(line) as LabelEntry).changes.map((c) => c.id));
    const bar = page.locator('.saved');
    const before = written().length;
    const count = await page.evaluate(() => globalThis.volaryPage!.state.savedCount);
    let isDown = true;
    await page.route('**/labels', (route) => (isDown ? route.abort() : route.continue()));
    await confirm('c22');
    await page.locator('.saved.bad', { hasText: '1 answer not saved yet: the review does not answer' }).waitFor();
    await confirm('c23');
    await page.locator('.saved.bad', { hasText: '2 answers not saved yet' }).waitFor();
    expect([await warns(), written().length]).toEqual([true, before]);
    isDown = false;
    await confirm('c24');
    await saved();
    await bar.filter({ hasText: `${count + 3} answers saved` }).waitFor();
    expect([await warns(), written().slice(before)]).toEqual([false, ['c22', 'c23', 'c24']]);
    await page.unroute('**/labels');
    trouble.splice(0, trouble.length, ...trouble.filter((t) => !/net::ERR_FAILED/.test(t)));
  });

  it('takes back what the server refuses, and says so', async () => {
    const count = await page.evaluate(() => globalThis.volaryPage!.state.savedCount);
    await page.evaluate(() => { const { state } = globalThis.volaryPage!; state.change([{ id: 'c25', label: { ...state.get('c25')!, bird: ' red', kind: 'call', track: '', note: '' } }], 'wrong'); });
    await page.locator('.saved.bad', { hasText: 'taken back: changes[0].label.bird: wrong value' }).waitFor();
    expect(await page.evaluate(() => [globalThis.volaryPage!.state.get('c25')!.status, globalThis.volaryPage!.state.savedCount])).toEqual(['unheard', count]);
    expect(await page.locator('.voice').textContent()).toMatch(/^Taken back, the review does not take it: changes/);
    trouble.splice(0, trouble.length, ...trouble.filter((t) => !/status of 400/.test(t)));
  });

  it('moves edges by brackets however the keyboard types them', async () => {
    const press = (init: Omit<KeyboardEventInit, 'view'>): Promise<string> => page.evaluate((i) => {
      const { state, stage } = globalThis.volaryPage!;
      stage.canvas.dispatchEvent(new KeyboardEvent('keydown', { bubbles: true, cancelable: true, ...i }));
      return `${state.selected!.bird} ${state.selected!.onsetSec.toFixed(3)} ${state.selected!.offsetSec.toFixed(3)}`;
    }, init);
    await page.evaluate(() => { const { state } = globalThis.volaryPage!; state.select(state.get('c26')); });
    // German keyboards: AltGr and 9, 8, 7, 0 on Windows and on Linux; Option and 8, 9 on a Mac.
    expect(await press({ key: ']', code: 'Digit9', altKey: true, ctrlKey: true })).toBe('green 7.802 7.900');
    expect(await press({ key: '[', code: 'Digit8', modifierAltGraph: true })).toBe('green 7.800 7.900');
    expect(await press({ key: '{', code: 'Digit8', altKey: true })).toBe('green 7.800 7.898');
    expect(await press({ key: '}', code: 'Digit9', altKey: true })).toBe('green 7.800 7.900');
    expect(await press({ key: 'x', code: 'KeyX', altKey: true })).toBe('green 7.800 7.900');
    expect(await page.evaluate(() => globalThis.volaryPage!.state.selected!.status)).not.toBe('rejected');
    for (let k = 0; k < 4; k++) await page.keyboard.press('z');
    await saved();
    expect(await page.evaluate(() => globalThis.volaryPage!.state.get('c26')!.status)).toBe('unheard');
  });

  it('has frequencies at the left of every row, light and dark', async () => {
    await page.keyboard.press('Escape');
    await page.evaluate(() => { const { view, actions } = globalThis.volaryPage!; view.show(0, 10); actions.moved(); });
    for (const colorScheme of ['light', 'dark'] as const) {
      await page.emulateMedia({ colorScheme, reducedMotion: 'reduce' });
      await page.waitForFunction(() => {
        const { layout, theme, topHz, canvas } = globalThis.volaryPage!.stage;
        const ink = [1, 3, 5].map((k) => parseInt(theme.ink.slice(k, k + 2), 16)).join();
        // Right of the line of the time axis at 0:00.
        const { data } = canvas.getContext('2d')!.getImageData(3, 0, 1, canvas.height);
        const inked = Array.from({ length: canvas.height }, (_, y) => y).filter((y) => data.slice(4 * y, 4 * y + 3).join() === ink);
        const picture = layout.rowPx - layout.lanePx - 1;
        const wanted = Array.from({ length: layout.trackCount }, (_, j) => [8, 4].map((khz) => Math.round(layout.axisPx + j * layout.rowPx + layout.lanePx + picture * (1 - (1000 * khz) / topHz)))).flat();
        return theme.isDark === matchMedia('(prefers-color-scheme: dark)').matches && inked.join() === wanted.join();
      });
    }
  });

  it('verifies drawn calls with the answer hidden and tells the error rate', async () => {
    await page.focus('canvas.tracks');
    await page.keyboard.press('q');
    await page.locator('.inspector h2', { hasText: 'Who calls?' }).waitFor();
    const before = await page.evaluate(() => globalThis.volaryPage!.state.estimate().heard);
    for (let k = 0; k < 2; k++) {
      const id = await page.evaluate(() => globalThis.volaryPage!.state.selected!.id);
      await page.keyboard.press('1');
      await page.waitForFunction((was) => globalThis.volaryPage!.state.selected!.id !== was, id);
    }
    await saved();
    expect(await page.locator('.verify').textContent()).toContain(`${before + 2} of 30 heard`);
    const score = JSON.parse(runCli(['score', folder, '--labels', join(folder, 'verified.csv'), '--json']).out) as { right: { value: number } };
    const shown = await page.evaluate(() => globalThis.volaryPage!.state.estimate().score?.right.value);
    expect(score.right.value).toBeCloseTo(shown!, 5);
    await page.keyboard.press('q');
  });

  it('has no flaw that axe-core finds, in every view, light and dark', async () => {
    const flaws: string[] = [];
    for (const colorScheme of ['light', 'dark'] as const) {
      await page.emulateMedia({ colorScheme, reducedMotion: 'reduce' });
      for (const id of ['tracks', 'days', 'calls', 'rates', 'habituation', 'network']) {
        await page.click(`#tab-${id}`);
        await page.waitForFunction((v) => document.querySelector(`#view-${v}`)!.children.length > 0, id);
        flaws.push(...(await checkAccess()).map((f) => `${colorScheme} ${id} ${f}`));
      }
    }
    await page.click('#tab-tracks');
    await page.focus('canvas.tracks');
    await page.keyboard.press('?');
    flaws.push(...await checkAccess());
    await page.keyboard.press('Escape');
    expect(flaws).toEqual([]);
  });

  it('leads from a number to the calls behind it', async () => {
    await page.click('#tab-network');
    await page.focus('rect[aria-label^="blue, then green"]');
    await page.keyboard.press('Enter');
    await page.locator('#view-calls tbody tr').first().waitFor();
    // Calls of the fixture follow each other by bird: every blue call but rejected ones is followed by green 0.3 s later.
    const wanted = await page.evaluate(() => { const { items } = globalThis.volaryPage!.state; return items.filter((a) => a.bird === 'blue' && a.status !== 'rejected' && items.some((b) => b.bird === 'green' && b.status !== 'rejected' && b.onsetSec > a.onsetSec && b.onsetSec - a.onsetSec <= 0.5)).length; });
    expect(wanted).toBeGreaterThan(3);
    expect(await page.locator('#view-calls tbody tr').count()).toBe(wanted);
    await page.locator('#view-calls tbody button').first().click();
    expect(await page.evaluate(() => [globalThis.volaryPage!.isOnTracks, globalThis.volaryPage!.state.selected?.bird])).toEqual([true, 'blue']);
  });

  it('keeps every acknowledged answer when the program is killed in the middle of writing', async () => {
    const before = labels().length;
    await page.evaluate(() => { const { state, actions } = globalThis.volaryPage!; state.select(state.get('c11')); actions.confirm(); });
    await saved();
    await endProgram(program.child, 'SIGKILL');
    appendFileSync(join(folder, 'labels.jsonl'), '{"n":99,"utc":"2031-05-01T06:0');
    await page.evaluate(() => { const { state, actions } = globalThis.volaryPage!; state.select(state.get('c12')); actions.confirm(); });
    await page.locator('.saved.bad').waitFor();
    program = await startProgram(folder);
    await open(program.url);
    expect(await page.evaluate(() => ['c4', 'c11', 'c12'].map((id) => globalThis.volaryPage!.state.get(id)!.status))).toEqual(['changed', 'confirmed', 'unheard']);
    expect(labels().length).toBe(before + 1);
    // What the page told of the killed server is as it should be.
    trouble.splice(0, trouble.length, ...trouble.filter((t) => !/net::ERR_/.test(t)));
    await page.goto('about:blank');
    expect(await endProgram(program.child, 'SIGINT')).toBe(0);
  });

  it('asked nobody but its own server and met no error', () => {
    expect(asked.filter((url) => !/^(http:\/\/127\.0\.0\.1:|blob:|data:)/.test(url))).toEqual([]);
    expect(trouble).toEqual([]);
  });
});

describe.skipIf(!executablePath)('page without a server', () => {
  const base = newFolder();
  afterAll(() => rmSync(base, { recursive: true, force: true }));

  it('attributes recordings from a folder on the disk, byte for byte as the command does, and shows them', async () => {
    const recording = join(base, 'aviary');
    writeScene(recording, 6, 1);
    expect(runCli(['draft', recording, '-o', join(base, 'study.json'), '--name', 'aviary'])).toMatchObject({ status: 0 });
    expect(runCli(['attribute', join(base, 'study.json'), '--out', join(base, 'out'), '--workers', '1'])).toMatchObject({ status: 0 });
    const browser = await chromium.launch({ executablePath, headless: true, args: FLAGS });
    try {
      const page = await browser.newPage({ viewport: { width: 1280, height: 720 } });
      const asked: string[] = [];
      page.on('request', (r) => asked.push(r.url()));
      await page.goto(pathToFileURL(join(root, 'dist', 'page', 'index.html')).href);
      await page.setInputFiles('#folder', recording);
      await page.click('#attribute');
      await page.waitForFunction(() => globalThis.volaryPage !== undefined, undefined, { timeout: 90_000 });
      const tables = await page.evaluate(async () => {
        const { source } = globalThis.volaryPage!.state;
        return Object.fromEntries(await Promise.all(source.tables.map(async (name) => [name, await source.readTable(name)] as const)));
      });
      expect(tables['calls.csv'].split('\n').length).toBeGreaterThan(8);
      for (const name of ['calls.csv', 'sounds.csv', 'clock.csv', 'tracks.csv']) expect(tables[name]).toBe(readFileSync(join(base, 'out', name), 'utf8'));
      await page.keyboard.press('.');
      await page.locator('.levels tbody tr').first().waitFor();
      await page.keyboard.press('Enter');
      await page.locator('.saved', { hasText: '1 answer kept in this browser' }).waitFor();
      await page.evaluate(() => { Storage.prototype.setItem = () => { throw new Error('full'); }; });
      await page.keyboard.press('.');
      await page.keyboard.press('Enter');
      await page.locator('.saved.bad', { hasText: '1 answer not saved yet: this browser keeps nothing' }).waitFor();
      await page.evaluate(() => document.documentElement.setAttribute('data-downloads', ''));
      const labels = page.waitForEvent('download', (d) => d.suggestedFilename() === 'labels.csv');
      const [download] = await Promise.all([page.waitForEvent('download'), page.click('button:text("Save tables")')]);
      expect(readLabels(readFileSync(await (await labels).path(), 'utf8'))).toHaveLength(2);
      expect(readFileSync(await download.path(), 'utf8')).toBe(tables[download.suggestedFilename()]);
      expect(asked.filter((url) => !/^(file|blob|data):/.test(url))).toEqual([]);
    } finally {
      await browser.close();
    }
  });
});
