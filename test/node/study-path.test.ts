import { mkdirSync, realpathSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { isAbsolute, join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { findStudyPath, nameStudyPath } from '../../src/node/study-path.js';
import { newFolder } from '../cli/run-cli.js';

const root = realpathSync(newFolder());
const at = (...parts: string[]): string => join(root, ...parts);
let hasLinks = true;
beforeAll(() => {
  for (const name of ['field', 'field/results/first', 'elsewhere']) mkdirSync(at(name), { recursive: true });
  writeFileSync(at('field/study.json'), '{}');
  try {
    symlinkSync(at('field/results/first'), at('elsewhere/link'), 'dir');
  } catch {
    hasLinks = false;
    console.warn('test/node: SKIPPED study paths over links, which this system does not let a user make');
  }
});
afterAll(() => rmSync(root, { recursive: true, force: true }));

describe('the path of a study in the record of a result', () => {
  it.each([['field/results/first', '../../study.json'], ['field', 'study.json'], ['elsewhere', '../field/study.json']])('from %s it is %s, and leads back', async (folder, path) => {
    expect(await nameStudyPath(at(folder), at('field/study.json'))).toBe(path);
    expect(await findStudyPath(at(folder), path)).toBe(at('field/study.json'));
  });

  it('leads back from a folder that is written or read over a link', async (test) => {
    test.skip(!hasLinks, 'no links: this system does not let a user make them');
    const path = await nameStudyPath(at('elsewhere/link'), at('field/study.json'));
    expect(path).toBe('../../study.json');
    expect(await findStudyPath(at('elsewhere/link'), path)).toBe(at('field/study.json'));
  });

  it('is taken as it is where an earlier version wrote it whole, and is none where there is none', async () => {
    expect(isAbsolute(at('old.json'))).toBe(true);
    expect(await findStudyPath(at('elsewhere'), at('old.json'))).toBe(at('old.json'));
    for (const none of [undefined, '', 5, null]) expect(await findStudyPath(at('elsewhere'), none)).toBeUndefined();
  });
});
