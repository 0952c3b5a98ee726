import { readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { networkTables } from '../../src/analysis/network/index.js';
import { thresholdTable } from '../../src/analysis/network/network-tables.js';
import { rateTable } from '../../src/table/analysis-tables.js';
import { parseCsv } from '../../src/table/csv-table.js';
import { parseParquet } from '../../src/table/parquet-table.js';
import { callTable, trackTable } from '../../src/table/table-specs.js';
import type { TableSpec } from '../../src/table/table-specs.js';
import { newFolder, runCli } from './run-cli.js';

const root = fileURLToPath(new URL('../..', import.meta.url));
const folder = newFolder();
const week = join(folder, 'week');
const read = (name: string): string => readFileSync(join(week, name), 'utf8');

interface Truth { pairs: { caller: string; replier: string; latencySec: number; spread: number }[]; effects: Record<'fitted' | 'battery', { calls: number[] }> }

/** The commands of docs/tutorial.md, in its order, as a reader would type them. */
function listCommands(): string[][] {
  const text = readFileSync(join(root, 'docs', 'tutorial.md'), 'utf8');
  return [...text.matchAll(/^ {4}volary (.+)$/gm)].map((m) => m[1].split(' '));
}

/** Median latency that is to be seen: log-normal replies cut at the reply window, mixed with chance replies that are even over it. */
function expectMedian(medianSec: number, spread: number, chanceShare: number): number {
  const [from, to, step] = [0.05, 0.5, 0.0001];
  const times = Array.from({ length: Math.round((to - from) / step) }, (_, i) => from + (i + 0.5) * step);
  const density = times.map((t) => Math.exp(-0.5 * (Math.log(t / medianSec) / spread) ** 2) / t);
  const whole = density.reduce((s, d) => s + d, 0);
  let sum = 0;
  return times[density.findIndex((d) => (sum += ((1 - chanceShare) * d) / whole + chanceShare / times.length) >= 0.5)];
}

describe('the tutorial', () => {
  const commands = listCommands();

  beforeAll(() => {
    for (const args of commands) {
      const result = runCli(args.map((a) => (a.startsWith('fixtures/') ? join(root, a) : a)), { cwd: folder, timeoutMs: 200_000 });
      expect([args.join(' '), result.status]).toEqual([args.join(' '), 0]);
    }
  }, 600_000);

  afterAll(() => rmSync(folder, { recursive: true, force: true }));

  it('takes the reader through the whole of it', () => {
    expect(commands.map((c) => c[0])).toEqual(['simulate', 'habituation', 'rates', 'network', 'report']);
  });

  it('finds the days from which on the birds were back, and no earlier ones', () => {
    const truth = JSON.parse(read('truth.json')) as Truth;
    const { decisions } = JSON.parse(read('habituation.json')) as { decisions: { bird: string; after: 'fitted' | 'battery'; firstUsableDay: number | null }[] };
    for (const after of ['fitted', 'battery'] as const) {
      // The first day on which the simulated birds call as they do without handling.
      const back = truth.effects[after].calls.indexOf(1) + 1;
      expect(decisions.find((d) => d.bird === '' && d.after === after)?.firstUsableDay, after).toBe(back);
    }
  });

  it('finds the pairs that reply and no others, and how fast they are', () => {
    const truth = JSON.parse(read('truth.json')) as Truth;
    const edges = parseCsv(networkTables[0], read('network.csv'), 'network.csv');
    const name = (p: { caller: string; replier: string }): string => `${p.caller} ${p.replier}`;
    expect(edges.filter((e) => e.kind === 'reply').map(name).sort()).toEqual(truth.pairs.map(name).sort());
    for (const pair of truth.pairs) {
      const found = edges.find((e) => name(e) === name(pair))!;
      const expected = expectMedian(pair.latencySec, pair.spread, found.chance / found.replyProbability);
      // Standard error of a median from the quartiles as for a normal distribution: 1.2533 sd / sqrt(n), sd = IQR / 1.349.
      const error = (1.2533 * (found.latencyUpperSec - found.latencyLowerSec)) / 1.349 / Math.sqrt(found.replies);
      expect(Math.abs(found.latencyMedianSec - expected), `${name(pair)}: ${found.latencyMedianSec} for ${expected}`).toBeLessThan(3 * error);
    }
  });

  it('pairs above the surrogates fall with the threshold as the page says', () => {
    const rows = parseCsv(thresholdTable, read('network-thresholds.csv'), 'network-thresholds.csv');
    const count = (threshold: number): number => rows.filter((r) => r.threshold === threshold && r.q <= 0.05 && r.excess > 0).length;
    const told = readFileSync(join(root, 'docs', 'tutorial.md'), 'utf8').match(/fall from (\d+) at 0.8 to (\d+) at 0.95 and (\d+) at 0.99/)!;
    expect(told.slice(1).map(Number)).toEqual([0.8, 0.95, 0.99].map(count));
  });

  it('leaves the same tables as CSV and Parquet from the beginning', async () => {
    const compare = async <Row>(spec: TableSpec<Row>): Promise<void> => {
      const rows = parseCsv(spec, read(`${spec.name}.csv`), spec.name);
      expect(rows.length, spec.name).toBeGreaterThan(5);
      expect(await parseParquet(spec, new Uint8Array(readFileSync(join(week, `${spec.name}.parquet`))))).toEqual(rows);
    };
    await compare(callTable);
    await compare(trackTable);
  });

  it('leaves the same rates as CSV and Parquet, and a report with every part', async () => {
    const rates = parseCsv(rateTable, read('rates.csv'), 'rates.csv');
    expect(rates.length).toBeGreaterThan(20);
    expect(await parseParquet(rateTable, new Uint8Array(readFileSync(join(week, 'rates.parquet'))))).toEqual(rates);
    const described = ['rates', 'habituation', 'network'].flatMap((n) => (JSON.parse(read(`${n}-datapackage.json`)) as { resources: { path: string; schema: { fields: { name: string }[] } }[] }).resources);
    for (const { path, schema } of described) expect(read(path).split('\n')[0], path).toBe(schema.fields.map((f) => f.name).join(','));
    const page = read('report.html');
    for (const id of ['excluded', 'habituation', 'rates', 'network']) expect(page).toContain(`<section id="${id}">`);
  });
});
