import { cpSync, readdirSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { newFolder } from './run-cli.js';
import { attributeUntil, countEvents, readResult, writeShortStudy } from './stopped-study.js';

const folder = newFolder();
const out = join(folder, 'result');
const kept = join(folder, 'kept');
let study = '';
let wanted: Record<string, string> = {};

beforeAll(async () => {
  study = writeShortStudy(folder);
  const events = await countEvents(study, join(folder, 'whole'), ['--workers', '2']);
  wanted = readResult(join(folder, 'whole'));
  expect((await attributeUntil(study, out, ['--workers', '1'], Math.round(events / 2))).signal).toBe(process.platform === 'win32' ? null : 'SIGKILL');
  cpSync(out, kept, { recursive: true });
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('attribute, stopped and started again', () => {
  it('says that it goes on, and does so with another number of workers', async () => {
    const again = await attributeUntil(study, out, ['--workers', '2']);
    expect(again.notes).toContain('going on where an earlier run stopped');
    expect(again.status).toBe(0);
    expect(readResult(out)).toEqual(wanted);
  });

  it('refuses work that was done with other settings, naming what differs, and starts anew when told', async () => {
    const refused = await attributeUntil(study, kept, ['--max-offset', '10']);
    expect(refused.notes).toMatch(/maxOffsetSec differs; got 60; expected 10; use --force/);
    expect(refused.status).toBe(1);
    expect(refused.notes).not.toContain('    at ');
    expect((await attributeUntil(study, kept, ['--max-offset', '10', '--force'])).status).toBe(0);
    expect(readdirSync(kept)).not.toContain('unfinished');
  });
});
