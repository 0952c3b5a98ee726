import { mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, it } from 'vitest';
import { formatCsv, parseCsv } from '../../src/table/csv-table.js';
import { callTable, trackTable } from '../../src/table/table-specs.js';
import { edgeTable } from '../../src/analysis/network/network-tables.js';
import { fullTracks, simulateCalls, toCallRows } from '../analysis/network/simulate-calls.js';
import { newFolder, runCli } from './run-cli.js';

const folder = newFolder();
const quick = ['--surrogates', '399', '--draws', '20'];

beforeAll(() => {
  const birds = ['ash', 'birch', 'cedar'];
  const rules = [{ caller: 'ash', replier: 'birch', probability: 0.5, medianSec: 0.2, spreadSec: 0.03 }];
  for (const [name, seed] of [['result', 1], ['before', 2]] as const) {
    const calls = toCallRows(simulateCalls({ birds, durationSec: 3600, rate: () => 0.08, mostRate: 0.08, rules, seed }));
    mkdirSync(join(folder, name));
    writeFileSync(join(folder, name, 'calls.csv'), formatCsv(callTable, calls));
    writeFileSync(join(folder, name, 'tracks.csv'), formatCsv(trackTable, fullTracks(birds, 3600)));
  }
  writeFileSync(join(folder, 'result', 'excluded.csv'), 'bird,start_s,end_s,reason\nash,0,300,fitting\n,3000,3060,battery\n');
  writeFileSync(join(folder, 'pairs.csv'), 'bird_a,bird_b\nbirch,ash\n');
});

describe('volary network', () => {
  it('finds who replies to whom, says what it left out, and writes all files', () => {
    const r = runCli(['network', 'result', ...quick, '--bonds', 'pairs.csv'], { cwd: folder });
    expect(r.status).toBe(0);
    // Progress may show on a busy machine; nothing else may.
    expect(r.err).not.toContain('volary network:');
    expect(r.out).not.toContain('caution');
    expect(r.out).toMatch(/^3 birds, \d+ of \d+ calls used$/m);
    expect(r.out).toMatch(/^ash +birch +reply /m);
    expect(r.out).toContain('excluded: ash, fitting: 1 windows, 0.08 h');
    expect(r.out).toContain('excluded: all birds, battery');
    expect(r.out).toMatch(/^pair bonds: .*all 6 permutations/m);
    const edges = parseCsv(edgeTable, readFileSync(join(folder, 'result', 'network.csv'), 'utf8'), 'network.csv');
    expect(edges.filter((e) => e.kind === 'reply').map((e) => `${e.caller} ${e.replier}`)).toEqual(['ash birch']);
    const described = JSON.parse(readFileSync(join(folder, 'result', 'network-datapackage.json'), 'utf8')) as { resources: { path: string; schema: { fields: { name: string; description: string }[] } }[] };
    for (const { path, schema } of described.resources) {
      expect(readFileSync(join(folder, 'result', path), 'utf8').split('\n')[0]).toBe(schema.fields.map((f) => f.name).join(','));
      expect(schema.fields.every((f) => f.description.length > 3)).toBe(true);
    }
    const graphml = readFileSync(join(folder, 'result', 'network.graphml'), 'utf8');
    expect(graphml).toContain('<graph id="calls" edgedefault="directed">');
    expect(graphml).toContain('<edge source="ash" target="birch">');
  });

  it('may be run again over its own files, and compares two folders', () => {
    expect(runCli(['network', 'before', ...quick], { cwd: folder }).status).toBe(0);
    const r = runCli(['network', 'result', ...quick, '--compare', 'before', '--json'], { cwd: folder });
    expect(r.status).toBe(0);
    // Progress may show on a busy machine; nothing else may.
    expect(r.err).not.toContain('volary network:');
    const json = JSON.parse(r.out) as { birds: string[]; comparison: { statistic: number; permutations: number } };
    expect(json.birds).toEqual(['ash', 'birch', 'cedar']);
    expect(json.comparison).toMatchObject({ permutations: 6, isExact: true });
    expect(json.comparison.statistic).toBeGreaterThan(0.9);
    expect(r.out.trimEnd()).toBe(readFileSync(join(folder, 'result', 'network.json'), 'utf8').trimEnd());
  });

  it('says when there are too few surrogates for a lone edge: q cannot fall below 2 pairs / (surrogates + 1)', () => {
    const r = runCli(['network', 'before', '--surrogates', '199', '--draws', '20'], { cwd: folder });
    expect(r.out).toContain('caution: with 199 surrogates no fewer than 2 of 6 pairs can stand out together; for a lone one at least 239 surrogates are needed');
    expect(runCli(['network', 'before', '--surrogates', '20', '--draws', '20'], { cwd: folder }).out).toContain('caution: with 20 surrogates no pair can stand out; for a lone one at least 239 are needed');
    expect(r.out).toContain('no edge');
  });

  it('counts days from 1, as rates does, and keeps the windows that it left out', () => {
    const days = readFileSync(join(folder, 'result', 'network-days.csv'), 'utf8').trimEnd().split('\n').slice(1).map((row) => row.split(',')[0]);
    expect([...new Set(days)]).toEqual(['1']);
    const { excludedWindows } = JSON.parse(readFileSync(join(folder, 'result', 'network.json'), 'utf8')) as { excludedWindows: unknown };
    expect(excludedWindows).toEqual([{ bird: 'ash', startSec: 0, endSec: 300, reason: 'fitting' }, { bird: '', startSec: 3000, endSec: 3060, reason: 'battery' }]);
  });

  it('refuses windows of a bird that is in no table', () => {
    const path = join(folder, 'before', 'excluded.csv');
    writeFileSync(path, 'bird,start_s,end_s,reason\nAsh,0,60,disturbed\n');
    const r = runCli(['network', 'before', ...quick], { cwd: folder });
    rmSync(path);
    expect(r).toMatchObject({ status: 1, out: '' });
    expect(r.err).toMatch(/^volary network: ".*excluded\.csv" entry 1: a bird that is in no table; got "Ash"; expected ash, birch, cedar; .*\n$/);
  });

  it('overwrites nothing elsewhere without --force', () => {
    mkdirSync(join(folder, 'elsewhere'));
    writeFileSync(join(folder, 'elsewhere', 'network.csv'), 'mine\n');
    const r = runCli(['network', 'before', ...quick, '--out', 'elsewhere'], { cwd: folder });
    expect(r.status).toBe(1);
    expect(r.err).toMatch(/^volary network: .*network\.csv.*is there already; choose another place or add --force\n$/);
    expect(readFileSync(join(folder, 'elsewhere', 'network.csv'), 'utf8')).toBe('mine\n');
  });

  it.each([
    [['network', 'nowhere'], 1, /"nowhere": no such folder/],
    [['network', 'result', '--window', '0.5-0.1'], 2, /expected two numbers of seconds such as 0\.05-0\.5/],
    [['network', 'result', '--jitter', '1'], 2, /--jitter: too short for the reply window; got 1; expected at least 2/],
    [['network', 'result', '--compare', 'nowhere'], 1, /network\.csv.*no such file; run 'volary network nowhere' first/],
    [['network', 'result', '--bonds', join('result', 'calls.csv')], 1, /column bird_a is missing/],
  ])('%j is refused in one line', (args, status, pattern) => {
    const r = runCli(args, { cwd: folder });
    expect(r.status).toBe(status);
    expect(r.err).toMatch(pattern);
    expect(r.err.trimEnd().split('\n')).toHaveLength(1);
  });
});
