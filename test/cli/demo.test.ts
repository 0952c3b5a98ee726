import { spawnSync } from 'node:child_process';
import { existsSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, describe, expect, it } from 'vitest';
import { readMarkup } from '../report/read-markup.js';
import { newFolder } from './run-cli.js';

const DEMO = fileURLToPath(new URL('../../dist/cli/demo.js', import.meta.url));
const folder = newFolder();
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const runDemo = (...args: string[]) => spawnSync(process.execPath, [DEMO, ...args], { encoding: 'utf8', timeout: 110_000 });

describe('demo', () => {
  it('goes from simulation to report, tells what it measured, and says what to type next', () => {
    const { status, stdout, stderr } = runDemo(join(folder, 'demo'), '--seconds', '12');
    expect(stderr).not.toMatch(/demo:/);
    expect(status).toBe(0);
    for (const file of ['recording/channels.csv', 'recording/truth/truth.csv', 'study.json', 'result/calls.csv', 'result/run.json', 'result/score.json', 'report.html']) {
      expect(existsSync(join(folder, 'demo', file)), file).toBe(true);
    }
    const score = JSON.parse(readFileSync(join(folder, 'demo', 'result', 'score.json'), 'utf8'));
    const { f1 } = score.rightBird;
    expect(stdout).toContain(`right time and right bird: F1 ${f1.value.toFixed(3)} (${f1.low.toFixed(3)} to ${f1.high.toFixed(3)})`);
    const { rows, columns, counts } = score.attribution.confusion;
    for (const bird of ['amber', 'cobalt', 'jade', 'plum', 'rust', 'silver']) {
      const called = counts[rows.indexOf(bird)]?.reduce((a: number, b: number) => a + b, 0) ?? 0;
      const right = counts[rows.indexOf(bird)]?.[columns.indexOf(bird)] ?? 0;
      if (score.counts.birds.includes(bird)) expect(stdout).toMatch(new RegExp(`${bird} +${called} +\\d+ +${right}\\n`));
    }
    const pictures = readMarkup(readFileSync(join(folder, 'demo', 'report.html'), 'utf8')).filter((e) => e.name === 'image');
    expect(pictures.length % 6).toBe(0);
    expect(pictures.length).toBeGreaterThan(0);
    expect(stdout).toContain('npx volary draft FOLDER -o study.json');
  });

  it('says how it is used', () => {
    const { status, stderr } = runDemo('--seconds', '1');
    expect(status).toBe(2);
    expect(stderr).toBe('demo: usage: demo [FOLDER] [--seconds N], with 10 to 600 seconds\n');
  });
});
