import { readFileSync } from 'node:fs';
import { Ajv2020 } from 'ajv/dist/2020.js';
import { describe, expect, it } from 'vitest';
import { studySchema } from '../../src/schema/study-schema.js';
import { formatManifest, parseManifest } from '../../src/study/manifest.js';
import { findJsonError } from '../../src/study/json-place.js';
import type { StudyManifest } from '../../src/study/manifest.js';

const good = (): StudyManifest => ({
  volary: 1,
  name: 'two birds',
  start: '2024-05-01T06:00:00Z',
  recorders: [{ name: 'A' }, { name: 'B' }],
  tracks: [
    { bird: 'red', recorder: 'A', files: [{ path: 'red.wav', channel: 1 }] },
    { bird: 'blue', recorder: 'B', files: [{ path: 'b/blue 1.wav', channel: 2, start_s: 0 }, { path: 'b/blue 2.wav', channel: 2, start_s: 3600.25 }] },
  ],
  settings: { band_hz: [500, 10000], call_s: [0.02, 0.5] },
});

type Loose = any; // eslint-disable-line @typescript-eslint/no-explicit-any

function complaint(change: (m: Loose) => void): string {
  const m = good() as Loose;
  change(m);
  try {
    parseManifest(JSON.stringify(m), 'study.json');
  } catch (e) {
    return (e as Error).message;
  }
  return 'accepted';
}

describe('the schema', () => {
  it('is a sound one, which nobody checks while a program runs', () => {
    const ajv = new Ajv2020();
    expect(ajv.validateSchema(studySchema)).toBe(true);
    expect(ajv.validateSchema({ ...studySchema, required: 'name' })).toBe(false);
  });
});

describe('study manifest', () => {
  it('comes back the same after writing', () => {
    const text = formatManifest(good());
    expect(parseManifest(text, 's')).toEqual(good());
    expect(text).toContain('{ "path": "b/blue 2.wav", "channel": 2, "start_s": 3600.25 }');
    expect(text.endsWith('}\n')).toBe(true);
  });

  it('keeps awkward file names whole when it puts a file on one line', () => {
    const m = good();
    m.tracks[0].files[0].path = 'a "quoted",\n  "channel": 9\n}.wav';
    expect(parseManifest(formatManifest(m), 's')).toEqual(m);
  });

  it.each<[string, (m: Loose) => void, string[]]>([
    ['channel 0', (m) => { m.tracks[1].files[0].channel = 0; }, ['tracks[1].files[0].channel', 'got 0', 'expected at least 1']],
    ['channel as text', (m) => { m.tracks[0].files[0].channel = '1'; }, ['tracks[0].files[0].channel', 'got "1"', 'a whole number']],
    ['a missing recorder list', (m) => { delete m.recorders; }, ['the whole file', '"recorders" is missing', 'reference clock']],
    ['a missing path', (m) => { delete m.tracks[0].files[0].path; }, ['tracks[0].files[0]', '"path" is missing', 'only "channel"']],
    ['no tracks', (m) => { m.tracks = []; }, ['tracks', 'at least 1 entry']],
    ['a typing error in a word', (m) => { m.tracks[0].brid = 'x'; }, ['tracks[0].brid', '"brid"', 'one of bird, recorder, note, files']],
    ['an unknown version', (m) => { m.volary = 2; }, ['volary', 'got 2', 'expected 1']],
    ['a recorder that is not named', (m) => { m.tracks[1].recorder = 'C'; }, ['tracks[1].recorder', 'got "C"', '"A", "B"']],
    ['an empty bird', (m) => { m.tracks[1].bird = ''; }, ['tracks[1].bird', 'got ""', 'a name']],
    ['a bird with a blank after it', (m) => { m.tracks[1].bird = 'red '; }, ['tracks[1].bird', 'got "red "', 'without blanks']],
    ['a bird named twice', (m) => { m.tracks[1].bird = 'red'; }, ['tracks[1].bird', 'got "red"', 'one track per bird']],
    ['a bird with a word that has a meaning', (m) => { m.tracks[0].bird = 'no_call'; }, ['tracks[0].bird', 'rows in which nobody calls']],
    ['a bird called none', (m) => { m.tracks[1].bird = 'none'; }, ['tracks[1].bird', 'without a tag']],
    ['a recorder named twice', (m) => { m.recorders[1].name = 'A'; }, ['recorders[1].name', 'named twice']],
    ['a local time', (m) => { m.start = '2024-05-01 06:00'; }, ['start', '2024-05-01 06:00', 'UTC time']],
    ['a day that does not exist', (m) => { m.start = '2023-02-29T06:00:00Z'; }, ['start', 'no such time']],
    ['a band the wrong way round', (m) => { m.settings.band_hz = [9000, 500]; }, ['settings.band_hz', '[9000,500]', 'smaller number first']],
    ['a negative start', (m) => { m.tracks[1].files[1].start_s = -1; }, ['tracks[1].files[1].start_s', 'got -1', 'at least 0']],
    ['a list where an object belongs', (m) => { m.tracks[0] = []; }, ['tracks[0]', 'got []', 'an object']],
  ])('names the place of %s', (_, change, parts) => {
    const line = complaint(change);
    for (const part of ['"study.json"', ...parts]) expect(line).toContain(part);
    expect(line).not.toContain('\n');
  });

  it.each([
    ['{"volary": 1,\n  "name": }', '"}" in line 2, column 11'], ['{"volary": 1, "tracks": [', 'the end of the file in line 1'], ['{"a": 1,}', 'line 1, column 9'], ['{"a": 1} x', 'column 10'], ['{a: 1}', 'column 2'], ['[1 2]', 'column 4'], ['{"path": "C:\\data"}', 'column 10'], ['', 'an empty file'], ['RIFF\0\0WAVE', 'a binary file'],
  ])('says where JSON ends (%j)', (text, part) => {
    expect(() => parseManifest(text, 'x.json')).toThrow(part);
  });

  it('reads the example that shows everything it may hold', () => {
    const example = parseManifest(readFileSync(new URL('../../fixtures/study/two-recorders.json', import.meta.url), 'utf8'), 'two-recorders.json');
    expect(example.tracks.map((t) => [t.bird, t.files.length])).toEqual([['red', 2], ['grey', 1]]);
    expect(example.settings).toEqual({ band_hz: [500, 10000], call_s: [0.02, 0.6] });
  });

  it('is published as a schema file with the same content', () => {
    expect(JSON.parse(readFileSync(new URL('../../src/schema/study.schema.json', import.meta.url), 'utf8'))).toEqual(JSON.parse(JSON.stringify(studySchema)));
  });
});

describe('findJsonError', () => {
  it('agrees with JSON.parse on damaged texts', () => {
    const text = formatManifest(good());
    let seed = 7;
    const random = (n: number): number => { seed = (Math.imul(seed, 1103515245) + 12345) >>> 0; return (seed >>> 8) % n; };
    let bad = 0;
    for (let i = 0; i < 3000; i++) {
      const at = random(text.length);
      const damaged = text.slice(0, at) + ['', '}', ',', '"', '\\', '0', 'e', '\n'][random(8)] + text.slice(at + random(3));
      let isJson = true;
      try { JSON.parse(damaged); } catch { isJson = false; bad++; }
      expect(findJsonError(damaged) < 0, damaged.slice(Math.max(0, at - 20), at + 20)).toBe(isJson);
    }
    expect(bad).toBeGreaterThan(500);
  });
});
