import { readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { newFolder, runCli } from './run-cli.js';

const root = newFolder();
const week = join(root, 'week');
afterAll(() => rmSync(root, { recursive: true, force: true }));

beforeAll(() => {
  const study = {
    days: 9, birds: ['red', 'blue', 'grey', 'pink'].map((name) => ({ name, callsPerHour: 25, songsPerHour: 1, bodyPerHour: 20 })), handling: [{ day: 0, what: 'fitted' }],
    scatter: { hourly: 0.2, daily: 0.03, sharedHourly: 0.05 }, effects: { fitted: { calls: 0.3, body: 2, days: 2, shape: 'step' } },
  };
  writeFileSync(join(root, 'days.json'), JSON.stringify(study));
  const made = runCli(['simulate', 'days.json', '--tables', '--out', 'week', '--seed', '2'], { cwd: root });
  // Progress may show on a busy machine; no complaint may.
    expect([made.status, made.err.includes('volary ')]).toEqual([0, false]);
});

describe('volary habituation', () => {
  it('writes tables and claims a return only within a margin', () => {
    const open = runCli(['habituation', week]);
    // Progress may show on a busy machine; no complaint may.
    expect([open.status, open.err.includes('volary ')]).toEqual([0, false]);
    expect(open.out).toContain('no margin was set');
    const result = runCli(['habituation', week, '--margin', '35', '--measures', 'calls,movement', '--test-days', 'fitted=4', '--json']);
    expect(result.status).toBe(0);
    const json = JSON.parse(result.out);
    expect(json).toMatchObject({ kind: 'volary-habituation', settings: { margin: 0.35, testDays: { fitted: 4, battery: 2 } } });
    expect(json.decisions[0]).toMatchObject({ bird: '', after: 'fitted', firstUsableDay: 3, measures: ['calls', 'movement'] });
    const excluded = readFileSync(join(week, 'excluded.csv'), 'utf8');
    expect(excluded).toMatch(/^bird,start_s,end_s,reason\nred,0\.000000,\d+\.000000,/);
    expect(readFileSync(join(week, 'habituation.csv'), 'utf8').split('\n')[0]).toBe('bird,after,day,measure,pairs,value,baseline,change,low,high,standard_error,dof,p_flip,p_holm,p_bh,exact,p_equivalence,detectable,verdict');
    expect(runCli(['rates', week]).out).toContain('(by excluded.csv)');
  });

  it('keeps an excluded.csv that a person has changed', () => {
    const path = join(week, 'excluded.csv');
    writeFileSync(path, 'bird,start_s,end_s,reason\nred,0,100,own\n');
    const refused = runCli(['habituation', week]);
    expect(refused.status).toBe(1);
    expect(refused.err).toMatch(/excluded\.csv": is there already and was not written by this command; move it away or add --force/);
    expect(readFileSync(path, 'utf8')).toContain('own');
    expect(runCli(['habituation', week, '--force']).status).toBe(0);
  });

  it.each<[string[], number, RegExp]>([
    [['week', '--margin', '0'], 2, /expected a percentage/],
    [['week', '--baseline', '9-3'], 2, /expected two days/],
    [['week', '--test-days', 'fitted=0.5'], 2, /expected whole days/],
    [['week', '--measures', 'song'], 2, /expected some of calls,interval,timing,movement/],
    [['week', '--slot-hours', '5'], 2, /expected 1, 2, 3/],
    [['week', '--test-days', 'fitted=30'], 1, /no usable time later than the days to test/],
    [['week', '--movement', 'days.json'], 1, /days\.json/],
  ])('tells %j in one line', (args, status, message) => {
    const result = runCli(['habituation', ...args], { cwd: root });
    expect(result.err).toMatch(message);
    expect([result.status, result.out]).toEqual([status, '']);
    expect(result.err.trim().split('\n')).toHaveLength(1);
  });

  it('simulates only what is described, and replaces nothing unasked', () => {
    const cases: [string[], number, RegExp][] = [
      [['simulate', '--tables', '--out', 'x'], 2, /no description of a study/],
      [['simulate', 'days.json', '--tables', '--random', 'easy', '--out', 'x'], 2, /--random: has no meaning with --tables/],
      [['simulate', 'days.json', '--tables', '--out', 'week'], 1, /is there already/],
    ];
    for (const [args, status, message] of cases) {
      const result = runCli(args, { cwd: root });
      expect(result.err).toMatch(message);
      expect(result.status).toBe(status);
    }
    expect(JSON.parse(readFileSync(join(week, 'truth.json'), 'utf8'))).toMatchObject({ kind: 'volary-days-truth', effects: { fitted: { days: 2, calls: [0.3, 0.3, 1] } } });
  });
});
