import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath, pathToFileURL } from 'node:url';
import { chromium, type Browser, type Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildReport } from '../../src/report/index.js';
import type { ReportInput } from '../../src/report/index.js';
import { HABIT_MEASURES } from '../../src/schema/analysis-rows.js';
import { findChromium } from '../browser/find-chromium.js';
import { newFolder } from '../cli/run-cli.js';
import { addAnalyses, day, edge, rate } from './sample-analyses.js';
import { NASTY } from './sample-input.js';

const root = fileURLToPath(new URL('../../', import.meta.url));
const executablePath = findChromium();
if (!executablePath) console.warn('test/report: SKIPPED the tests in a page, for no Chromium was found in PATH or the usual places (Debian: apt-get install chromium)');

const FLAGS = ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'];
const axeSource = readFileSync(join(root, 'node_modules', 'axe-core', 'axe.min.js'), 'utf8');

/** Long names, as of two rings and a number. */
const NAMES: Record<string, string> = { ochre: 'green-yellow-7', [NASTY]: 'orange-white-22', zinc: 'brown-magenta-4' };
const BIRDS = Object.values(NAMES);

/** Every picture and table that a report can have, with long names. */
function makeWideInput(): ReportInput {
  const input = rename(addAnalyses()) as ReportInput;
  const kinds = ['fitted', 'battery', 'other'] as const;
  const pairs = BIRDS.flatMap((a) => BIRDS.filter((b) => b !== a).map((b) => [a, b] as const));
  return {
    ...input,
    run: { ...input.run, kernelHash: 'f00dfeed'.repeat(8) },
    rates: { ...input.rates!, rates: [...BIRDS, ''].map((b) => rate(b, 1234)), byHour: BIRDS.flatMap((b) => [6, 7, 9].map((hour) => ({ ...rate(b, 1200), hour }))), isClockKnown: false },
    habituation: {
      ...input.habituation!, rows: kinds.flatMap((after) => HABIT_MEASURES.flatMap((measure) => [day(1, -1.5, 'different'), day(2, 0.2, 'undecided')].map((r) => ({ ...r, after, measure })))),
      decisions: kinds.map((after) => ({ ...input.habituation!.decisions[0], after })),
    },
    network: {
      ...input.network!, edges: pairs.map(([a, b], i) => edge(a, b, i % 2 ? 'pairwise' : 'reply', 0.05 + i / 20, i % 2 ? BIRDS.find((c) => c !== a && c !== b) : '')),
      latencies: pairs.flatMap(([caller, replier]) => [0, 0.2, 0.4].map((lagSec) => ({ caller, replier, lagSec, pairs: 1200, expected: 400, firstReplies: 3 }))),
      turns: pairs.map(([birdA, birdB]) => ({ birdA, birdB, followed: 40, alternations: 30, share: 0.75, chance: 0.4, index: 0.35, p: 0.01 })),
      days: pairs.flatMap(([caller, replier]) => [1, 2, 3].map((n) => ({ day: n, caller, replier, calls: 50, replies: 9, replyProbability: 0.3, chance: 0.05, excess: 0.25 }))),
    },
  };
}

function rename(value: unknown): unknown {
  if (typeof value === 'string') return NAMES[value] ?? value;
  if (Array.isArray(value)) return value.map(rename);
  return value !== null && typeof value === 'object' ? Object.fromEntries(Object.entries(value).map(([k, v]) => [NAMES[k] ?? k, rename(v)])) : value;
}

/** Texts of pictures that leave their picture, and names that run into each other. */
function findCutTexts(page: Page): Promise<string[]> {
  return page.evaluate(() => [...document.querySelectorAll('figure svg')].flatMap((svg) => {
    const frame = svg.getBoundingClientRect();
    const texts = [...svg.querySelectorAll('text')].map((t) => ({ text: t.textContent!, isName: t.classList.contains('name'), r: t.getBoundingClientRect() }));
    const cut = texts.filter(({ r }) => r.left < frame.left - 0.5 || r.right > frame.right + 0.5 || r.top < frame.top - 0.5 || r.bottom > frame.bottom + 0.5).map((t) => `cut: ${t.text}`);
    const names = texts.filter((t) => t.isName);
    const met = names.flatMap((a, i) => names.slice(i + 1).filter((b) => a.r.left < b.r.right && b.r.left < a.r.right && a.r.top < b.r.bottom - 2 && b.r.top < a.r.bottom - 2).map((b) => `run together: ${a.text} | ${b.text}`));
    return [...cut, ...met];
  }));
}

/** What reaches beyond the width of the page. */
function findWide(page: Page): Promise<string[]> {
  return page.evaluate(() => {
    const width = document.documentElement.clientWidth;
    const hasScroll = (e: Element): boolean => { const box = e.closest('.scroll'); return box !== null && box !== e && getComputedStyle(box).overflowX === 'auto'; };
    return [...document.querySelectorAll('body *')].filter((e) => !e.closest('svg') && !hasScroll(e) && e.getBoundingClientRect().right > width + 0.5).map((e) => `${e.tagName} ${e.className} ${e.textContent!.slice(0, 40)}`);
  });
}

async function findFlaws(page: Page): Promise<string[]> {
  await page.evaluate(axeSource);
  const found = await page.evaluate(() => (globalThis as unknown as { axe: { run(where: Document, options: object): Promise<{ violations: { id: string; nodes: { html: string }[] }[] }> } }).axe.run(document, { resultTypes: ['violations'] }));
  return found.violations.map((v) => `${v.id}: ${v.nodes[0].html.slice(0, 160)}`);
}

describe.skipIf(!executablePath)('the page', () => {
  const folder = newFolder();
  const path = join(folder, 'report.html');
  let browser: Browser;

  const open = async (width: number, media: 'screen' | 'print' = 'screen'): Promise<Page> => {
    const page = await browser.newPage({ viewport: { width, height: 900 } });
    await page.emulateMedia({ media });
    await page.goto(pathToFileURL(path).href);
    return page;
  };

  beforeAll(async () => {
    writeFileSync(path, buildReport(makeWideInput()));
    browser = await chromium.launch({ executablePath, headless: true, args: FLAGS });
  });
  afterAll(async () => {
    await browser?.close();
    rmSync(folder, { recursive: true, force: true });
  });

  // A4 less its margins of 14 mm is 182 mm wide: 688 px at 96 px to the inch.
  it.each([[1400, 'screen'], [390, 'screen'], [688, 'print']] as const)('at %i px on %s cuts no text and is no wider than it may be', async (width, media) => {
    const page = await open(width, media);
    expect(await findCutTexts(page)).toEqual([]);
    expect(await findWide(page)).toEqual([]);
    await page.close();
  });

  it('shows pictures on a telephone large enough to read, in a frame that scrolls', async () => {
    const page = await open(390);
    const sizes = await page.evaluate(() => [...document.querySelectorAll('figure svg')].map((svg) => {
      const { width } = svg.getBoundingClientRect();
      const own = (svg as SVGSVGElement).viewBox.baseVal.width;
      return { scale: width / own, own };
    }));
    expect(sizes.length).toBeGreaterThan(10);
    for (const { scale, own } of sizes) expect(scale, `a picture of ${own}`).toBeGreaterThan(0.7);
    for (const { scale } of sizes) expect(scale).toBeLessThanOrEqual(1.001);
    await page.close();
  });

  it.each([390, 1400])('has no flaw that axe-core finds at %i px', async (width) => {
    const page = await open(width);
    expect(await findFlaws(page)).toEqual([]);
    await page.close();
  });
});
