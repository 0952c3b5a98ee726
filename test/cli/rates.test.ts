import { mkdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { newFolder, runCli } from './run-cli.js';

const root = newFolder();
afterAll(() => rmSync(root, { recursive: true, force: true }));

const CALLS = 'call_id,bird,onset_s,offset_s,onset_utc,probability,track,level_db,snr_db,peak_hz,overlaps,runner_up,runner_up_probability\n';
const TRACKS = 'track,recorder,start_s,usable_s,noise_floor_db,gain_db,lost_share\n';

function makeResult(name: string): string {
  const folder = join(root, name);
  mkdirSync(folder);
  const row = (id: number, bird: string, onset: number): string => `${id},${bird},${onset.toFixed(6)},${(onset + 0.1).toFixed(6)},2031-05-01T${String(6 + Math.floor(onset / 3600)).padStart(2, '0')}:00:${String(Math.floor(onset % 60)).padStart(2, '0')}.000000Z,0.9000,${bird},,,,0,,\n`;
  writeFileSync(join(folder, 'calls.csv'), CALLS + row(1, 'red', 1) + row(2, 'red', 10) + row(3, 'red', 10.2) + row(4, 'red', 10.4) + row(5, 'blue', 20));
  writeFileSync(join(folder, 'tracks.csv'), `${TRACKS}red,one,0,3600,,,0\nred,one,3600,1800,,,0.5\nblue,one,0,3600,,,0\nblue,one,3600,3600,,,0\n`);
  return folder;
}

describe('volary rates', () => {
  it('writes the tables and prints a summary', () => {
    const folder = makeResult('plain');
    const first = runCli(['rates', folder]);
    // Progress may show on a busy machine; no complaint may.
    expect([first.status, first.err.includes('volary ')]).toEqual([0, false]);
    expect(first.out).toMatch(/^red +1\.5 +1 +0\.67/m);
    expect(first.out).toContain('no excluded.csv and no handling log');
    const lines = readFileSync(join(folder, 'rates.csv'), 'utf8').split('\n');
    expect(lines[0]).toBe('bird,what,usable_s,count,per_hour,low,high,hours,dispersion,dispersion_within,quasi_low,quasi_high');
    expect(lines[2]).toMatch(/^red,bouts,5400\.000000,1\.0000,0\.6667,0\.0169,3\.7144,/);
    expect(readFileSync(join(folder, 'bouts.csv'), 'utf8')).toBe('bird,onset_s,offset_s,syllables\nred,10.000000,10.500000,3\n');
    expect(readFileSync(join(folder, 'rates-by-hour.csv'), 'utf8')).toContain('red,calls,6,3600.000000,1.0000,1.0000');
    expect(readFileSync(join(folder, 'rates-by-day.csv'), 'utf8')).toContain('blue,calls,1,2031-05-01,7200.000000,1.0000,0.5000');
    const json = runCli(['rates', folder, '--json', '--utc-offset', '+02:00']);
    expect(JSON.parse(json.out)).toMatchObject({ kind: 'volary-rates', settings: { threshold: 0.5, utcOffsetMin: 120 }, leftOut: { untagged: 0 } });
    expect(readFileSync(join(folder, 'rates-by-hour.csv'), 'utf8')).toContain('red,calls,8,');
  });

  it('shows a minute of recording as a part of an hour, not as none', () => {
    const folder = makeResult('minute');
    writeFileSync(join(folder, 'tracks.csv'), `${TRACKS}red,one,0,60,,,0\nblue,one,0,60,,,0\n`);
    writeFileSync(join(folder, 'run.json'), JSON.stringify({ durationSec: 60 }));
    const { out } = runCli(['rates', folder]);
    expect(out).toMatch(/^red +0\.0167 /m);
    expect(out).toMatch(/^all birds +0\.0333 /m);
  });

  it('leaves out what excluded.csv or the handling log say, and says which', () => {
    const folder = makeResult('excluded');
    writeFileSync(join(folder, 'handling.csv'), 'bird,time,what\nred,2031-05-01T06:30:00Z,battery\n');
    const byLog = runCli(['rates', folder, '--days-after', 'battery=0.01']);
    expect(byLog.out).toContain('by the handling log: fitted 3 d, battery 0.01 d');
    expect(byLog.out).toMatch(/Excluded: 0\.24 of 3\.5/);
    writeFileSync(join(folder, 'excluded.csv'), 'bird,start_s,end_s,reason\n,0,3600,trial\n');
    const byTable = runCli(['rates', folder]);
    expect(byTable.out).toContain('Excluded: 2.0 of 3.5 usable bird hours (by excluded.csv)');
    expect(byTable.out).toContain('5 calls in excluded time');
    expect(runCli(['rates', folder, '--no-exclude']).out).toContain('Excluded: 0.0 of 3.5');
  });

  it('refuses windows of a bird that is in no table, for they would leave nothing out', () => {
    const folder = makeResult('misspelt');
    const windows = 'bird,start_s,end_s,reason\n,0,60,trial\nRed,0,60,disturbed\n';
    writeFileSync(join(root, 'windows.csv'), windows);
    const named = runCli(['rates', folder, '--exclude', 'windows.csv'], { cwd: root });
    expect(named).toMatchObject({ status: 1, out: '' });
    expect(named.err).toBe('volary rates: "windows.csv" entry 2: a bird that is in no table; got "Red"; expected blue, red; correct the name, or leave it empty for all birds\n');
    writeFileSync(join(folder, 'excluded.csv'), windows);
    const found = runCli(['rates', folder]);
    expect(found).toMatchObject({ status: 1, out: '' });
    expect(found.err).toMatch(/^volary rates: ".*excluded\.csv" entry 2: a bird that is in no table; got "Red"; expected blue, red; .*\n$/);
    expect(runCli(['rates', folder, '--no-exclude']).status).toBe(0);
  });

  it.each<[string[], number, RegExp]>([
    [['nowhere'], 1, /^volary rates: "nowhere": no such folder/],
    [['plain', '--threshold', '2'], 2, /expected a number from 0 to 1/],
    [['plain', '--days-after', 'song=3'], 2, /expected such as fitted=3,battery=1/],
    [['plain', '--start', 'noon'], 2, /expected a UTC time/],
    [['plain', '--exclude', 'gone.csv'], 1, /gone\.csv": no such file/],
    [['plain', '--handling', 'gone.csv'], 1, /gone\.csv": no such file/],
  ])('tells %j in one line', (args, status, message) => {
    const result = runCli(['rates', ...args], { cwd: root });
    expect(result.status).toBe(status);
    expect(result.err).toMatch(message);
    expect(result.err.trim().split('\n')).toHaveLength(1);
    expect(result.out).toBe('');
  });
});
