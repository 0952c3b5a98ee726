import { spawnSync } from 'node:child_process';
import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { edgeTable, latencyTable } from '../../src/analysis/network/network-tables.js';
import { hourRateTable, rateTable } from '../../src/table/analysis-tables.js';
import { formatCsv, parseCsv } from '../../src/table/csv-table.js';
import { readLabels } from '../../src/table/labels.js';
import { callTable, clockTable, soundTable, trackTable } from '../../src/table/table-specs.js';
import type { TableSpec } from '../../src/table/table-specs.js';
import { newFolder, runCli } from './run-cli.js';

const folder = newFolder();
const page = readFileSync(fileURLToPath(new URL('../../docs/tables.md', import.meta.url)), 'utf8');
const week = (name: string): string => readFileSync(join(folder, 'week', name), 'utf8');
const readRows = <Row>(table: TableSpec<Row>): Row[] => parseCsv(table, week(`${table.name}.csv`), table.name);

/** The program that can run it, tried in turn: another Python may stand before the one that has pandas. */
const findProgram = (names: string[], args: string[]): string | undefined => names.find((name) => spawnSync(name, args).status === 0);
const python = findProgram(['python3', '/usr/bin/python3', 'python'], ['-c', 'import pandas']);
const rscript = findProgram(['Rscript'], ['--version']);
if (!rscript) console.warn('test/cli: SKIPPED docs/tables.md with R, for there is no Rscript in PATH (Debian: apt-get install r-base-core)');
if (!python) console.warn('test/cli: SKIPPED docs/tables.md with Python, for no python3 in PATH or /usr/bin can import pandas (Debian: apt-get install python3-pandas)');

/** The page's lines in one language, in its order. */
const collectCode = (language: string): string => [...page.matchAll(new RegExp(`^\`\`\`${language}\\n([\\s\\S]*?)^\`\`\`$`, 'gm'))].map((m) => m[1]).join('\n');

/** Prints what the page's lines have worked out: what, of which, value. */
const SHOW_R = `
show <- function(what, of, value) cat(sprintf("%s|%s|%.9g\\n", what, of, value), sep = "")
show("per_hour", names(per_hour), per_hour)
show("usable", names(hours), hours)
show("when", "first", as.numeric(when[1]))
show("rate", report$bird, report$per_hour)
show("high", report$bird, report$quasi_high)
for (hour in colnames(rhythm)) show("rhythm", paste(rownames(rhythm), hour), rhythm[, hour])
show("body", names(body_share), body_share)
show("clock", c("10", "1800"), in_file(c(10, 1800)))
show("found", names(found), found)
for (caller in rownames(weights)) show("weight", paste(caller, colnames(weights)), weights[caller, ])
show("edge", paste(edges$caller, edges$replier), edges$latency_median_s)
show("peak", paste(peaks$caller, peaks$replier), peaks$lag_s)
`;
const SHOW_PYTHON = `
def show(what, of, value):
    for o, v in zip(of, value): print(f"{what}|{o}|{'NA' if pd.isna(v) else format(float(v), '.9g')}")
show("per_hour", per_hour.index, per_hour)
show("usable", hours.index, hours)
show("when", ["first"], [when.iloc[0].timestamp()])
show("rate", report["bird"], report["per_hour"])
show("high", report["bird"], report["quasi_high"])
for hour in rhythm.columns: show("rhythm", [f"{b} {hour}" for b in rhythm.index], rhythm[hour])
show("body", body_share.index, body_share)
show("clock", ["10", "1800"], in_file(np.array([10, 1800])))
show("found", found.index, found)
for caller in weights.index: show("weight", [f"{caller} {r}" for r in weights.columns], weights.loc[caller])
show("edge", edges["caller"] + " " + edges["replier"], edges["latency_median_s"])
show("peak", peaks["caller"] + " " + peaks["replier"], peaks["lag_s"])
`;

beforeAll(() => {
  // Names that a reader without types would take for a number and for nothing.
  const study = {
    name: 'names that look like something else', start: '2031-05-01T06:00:00Z', days: 2, birds: [{ name: '007', callsPerHour: 60 }, { name: 'NA', callsPerHour: 50 }, { name: 'none-2', callsPerHour: 30 }],
    pairs: [{ caller: '007', replier: 'NA', probability: 0.5, latencySec: 0.2 }],
  };
  writeFileSync(join(folder, 'days.json'), JSON.stringify(study));
  for (const args of [['simulate', 'days.json', '--tables', '--out', 'week'], ['rates', 'week', '--no-exclude'], ['network', 'week', '--surrogates', '399', '--draws', '20']]) {
    expect([args[0], runCli(args, { cwd: folder }).status]).toEqual([args[0], 0]);
  }
  writeFileSync(join(folder, 'week', 'clock.csv'), formatCsv(clockTable, [0, 3600].map((tRefSec, n) => ({ recorder: 'second', tRefSec, offsetSec: [1.25, 1.2608][n], ppm: 3, uncertaintySec: 1e-4 }))));
  // One label in ten lies where there is no such call.
  const truth = readLabels(week('truth.csv'), 'truth.csv').slice(0, 500);
  writeFileSync(join(folder, 'week', 'labels.csv'), `bird,onset_s,offset_s\n${truth.map((l, i) => `${l.bird},${l.onsetSec + (i % 10 ? 0 : 0.3)},${l.offsetSec + (i % 10 ? 0 : 0.3)}`).join('\n')}\n`);
}, 120_000);

afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** What the tables hold, worked out once more by plain loops. */
function expectValues(): Map<string, number> {
  const out = new Map<string, number>();
  const calls = readRows(callTable), tracks = readRows(trackTable), sounds = readRows(soundTable);
  for (const bird of ['007', 'NA', 'none-2']) {
    const sec = tracks.filter((t) => t.track === bird).reduce((s, t) => s + t.usableSec, 0);
    out.set(`usable|${bird}`, sec / 3600);
    out.set(`per_hour|${bird}`, calls.filter((c) => c.bird === bird && c.probability >= 0.9).length / (sec / 3600));
    out.set(`body|${bird}`, sounds.filter((s) => s.kind === 'body' && s.track === bird).reduce((s, r) => s + r.offsetSec - r.onsetSec, 0) / sec);
  }
  out.set('when|first', Date.parse(calls[0].onsetUtc.replace(/\d{3}Z$/, 'Z')) / 1000 + Number(`0.000${/(\d{3})Z$/.exec(calls[0].onsetUtc)![1]}`));
  for (const r of readRows(rateTable)) if (r.what === 'calls' && r.bird) out.set(`rate|${r.bird}`, r.perHour).set(`high|${r.bird}`, r.quasiHigh);
  for (const r of readRows(hourRateTable)) if (r.what === 'calls' && r.bird) out.set(`rhythm|${r.bird} ${r.hour}`, r.perHour);
  out.set('clock|10', 10 + 1.25 + (0.0108 * 10) / 3600).set('clock|1800', 1800 + 1.25 + 0.0054);
  const labels = readLabels(week('labels.csv'), 'labels.csv');
  for (const bird of new Set(labels.map((l) => l.bird))) {
    const own = labels.filter((l) => l.bird === bird);
    out.set(`found|${bird}`, own.filter((l) => calls.some((c) => c.bird === bird && Math.abs(c.onsetSec - l.onsetSec) <= 0.05)).length / own.length);
  }
  for (const e of readRows(edgeTable)) {
    out.set(`weight|${e.caller} ${e.replier}`, e.excess);
    if (e.kind === 'reply') out.set(`edge|${e.caller} ${e.replier}`, e.latencyMedianSec);
    const lags = readRows(latencyTable).filter((l) => l.caller === e.caller && l.replier === e.replier);
    out.set(`peak|${e.caller} ${e.replier}`, lags.reduce((best, l) => (l.pairs - l.expected > best.pairs - best.expected ? l : best)).lagSec);
  }
  return out;
}

function run(program: string, language: string, show: string): { values: Map<string, number>; err: string } {
  const script = join(folder, `page.${language}`);
  writeFileSync(script, collectCode(language) + show);
  const r = spawnSync(program, [script], { cwd: folder, encoding: 'utf8', env: { ...process.env, LC_ALL: 'C.UTF-8' } });
  const lines = r.stdout.trim().split('\n').map((l) => l.split('|')).filter(([, , value]) => value !== 'NA' && value !== 'NaN');
  return { values: new Map(lines.map(([what, of, value]) => [`${what}|${of}`, Number(value)])), err: r.status === 0 ? '' : r.stderr };
}

describe.each([['R', rscript, 'r', SHOW_R], ['Python', python, 'python', SHOW_PYTHON]] as const)('docs/tables.md in %s', (_, program, language, show) => {
  it('has lines to run', () => expect(collectCode(language).split('\n').length).toBeGreaterThan(30));

  it.skipIf(!program)('reads what the tables hold', () => {
    const { values, err } = run(program!, language, show);
    expect(err).toBe('');
    const expected = expectValues();
    expect([...values.keys()].sort()).toEqual([...expected.keys()].sort());
    // Nine digits are printed; sums of differences of times of 1e5 s lose some.
    for (const [key, value] of expected) expect(Math.abs(values.get(key)! - value), `${key}: ${values.get(key)} for ${value}`).toBeLessThanOrEqual(1e-7 * Math.max(1, Math.abs(value)));
    expect(expected.get('edge|007 NA')).toBeGreaterThan(0.1);
  }, 120_000);
});
