import { Ajv2020 } from 'ajv/dist/2020.js';
import type { ErrorObject, ValidateFunction } from 'ajv';
import { quoteName, VolaryError } from '../schema/errors.js';
import { studySchema } from '../schema/study-schema.js';
import { describePlace, findJsonError } from './json-place.js';
import { parseDateTime } from '../numeric/date-time.js';

export interface StudyFile {
  /** Relative to the manifest, with '/'. */
  path: string;
  /** The first channel is 1. */
  channel: number;
  /** Seconds since the study's start on the recorder's clock; without it the file starts where the one before ends. */
  start_s?: number;
}

export interface StudyTrack {
  bird: string;
  recorder: string;
  note?: string;
  files: StudyFile[];
}

export interface StudySettings {
  /** Lowest and highest frequency of the calls. */
  band_hz?: [number, number];
  /** Shortest and longest call in seconds. */
  call_s?: [number, number];
}

/** What `draft` writes and a person edits. */
export interface StudyManifest {
  $schema?: string;
  volary: 1;
  name: string;
  note?: string;
  /** RFC 3339 UTC time of the study's start. */
  start?: string;
  /** Handling log, relative to the manifest. */
  handling?: string;
  /** The first is the reference clock. */
  recorders: { name: string; note?: string }[];
  tracks: StudyTrack[];
  settings?: StudySettings;
}

/**
 * Reads a manifest from its JSON text.
 * @throws VolaryError 'bad-study' naming the place, what was found and what was expected.
 * @example parseManifest('{"volary":1,...}', 'study.json')
 */
export function parseManifest(text: string, name: string): StudyManifest {
  let value: unknown;
  try {
    value = JSON.parse(text.replace(/^\uFEFF/, ''));
  } catch (cause) {
    throw new VolaryError('bad-study', { where: quoteName(name), what: 'is not JSON', got: describeJsonError(text, cause as Error), expected: 'a study manifest' }, { cause });
  }
  return validateManifest(value, name);
}

/** Checks a parsed manifest against the schema and for sense. Throws like parseManifest. */
export function validateManifest(value: unknown, name: string): StudyManifest {
  validator ??= new Ajv2020({ allErrors: true, strict: true, strictTuples: false, strictTypes: false, validateSchema: false }).compile<StudyManifest>(studySchema);
  if (!validator(value)) throw translateErrors(validator.errors ?? [], value, name);
  return requireSense(value as StudyManifest, name);
}

/** Checks what a schema cannot say: real times, names that fit together, ranges that are not empty. Throws like parseManifest. */
export function requireSense(manifest: StudyManifest, name: string): StudyManifest {
  const complain = (where: string, what: string, got: unknown, expected: string): never => {
    throw new VolaryError('bad-study', { where: `${quoteName(name)}: ${where}`, what, got: showValue(got), expected });
  };
  if (manifest.start !== undefined && !Number.isFinite(parseDateTime(manifest.start))) complain('start', 'no such time', manifest.start, 'a date and time such as 2024-05-01T06:00:00Z');
  const recorders = new Set<string>();
  manifest.recorders.forEach((r, i) => {
    if (recorders.has(r.name)) complain(`recorders[${i}].name`, 'this recorder is named twice', r.name, 'a name of its own for every recorder');
    recorders.add(r.name);
  });
  const birds = new Set<string>();
  manifest.tracks.forEach((t, i) => {
    if (t.bird === 'none') complain(`tracks[${i}].bird`, "'none' stands for callers without a tag", t.bird, 'the name of a bird');
    if (t.bird === 'no_call') complain(`tracks[${i}].bird`, "'no_call' stands for rows in which nobody calls", t.bird, 'the name of a bird');
    if (birds.has(t.bird)) complain(`tracks[${i}].bird`, 'this bird has a track already', t.bird, 'one track per bird (list all its files there)');
    birds.add(t.bird);
    if (!recorders.has(t.recorder)) complain(`tracks[${i}].recorder`, 'no such recorder', t.recorder, `one of ${[...recorders].map((r) => JSON.stringify(r)).join(', ')}`);
  });
  for (const key of ['band_hz', 'call_s'] as const) {
    const range = manifest.settings?.[key];
    if (range && range[0] >= range[1]) complain(`settings.${key}`, 'the range is empty', range, 'the smaller number first');
  }
  return manifest;
}

/** The text of a manifest as `draft` writes it: two spaces, one line per file, ends with a newline. */
export function formatManifest(manifest: StudyManifest): string {
  const text = JSON.stringify(manifest, null, 2);
  // A study of two weeks has thousands of files: each is easier to edit on a line of its own.
  const oneLine = text.replace(/\{\n\s+("path": .*),\n\s+("channel": \d+)(?:,\n\s+("start_s": [^\n]+))?\n\s+\}/g,
    (_, path: string, channel: string, start?: string) => `{ ${path}, ${channel}${start ? `, ${start}` : ''} }`);
  return `${oneLine.replace(/\{\n\s+("name": [^\n]*[^,\n])\n\s+\}/g, '{ $1 }')}\n`;
}

let validator: ValidateFunction<StudyManifest> | undefined;

function translateErrors(errors: ErrorObject[], value: unknown, name: string): VolaryError {
  const first = errors[0];
  let place = first.instancePath.split('/').slice(1).map((s) => s.replaceAll('~1', '/').replaceAll('~0', '~'));
  const found = followPath(value, place);
  let what = 'wrong value';
  let got: string | undefined = showValue(found);
  let expected = describeExpected(first);
  if (first.keyword === 'required') {
    what = `${JSON.stringify(first.params.missingProperty)} is missing`;
    got = found && typeof found === 'object' ? `only ${Object.keys(found).map((k) => JSON.stringify(k)).join(', ') || 'nothing'}` : showValue(found);
    expected = describeField(first.schemaPath, String(first.params.missingProperty));
  } else if (first.keyword === 'additionalProperties') {
    const word = String(first.params.additionalProperty);
    what = 'this word has no meaning here';
    got = quoteName(word);
    expected = `one of ${Object.keys((followPath(studySchema, first.schemaPath.split('/').slice(1, -1)) as { properties: object }).properties).join(', ')}`;
    place = [...place, word];
  }
  const where = place.map((s) => (/^\d+$/.test(s) ? `[${s}]` : /^[\w$]+$/.test(s) ? `.${s}` : `[${quoteName(s)}]`)).join('').replace(/^\./, '');
  const more = errors.length > 1 ? `${errors.length - 1} more like it` : undefined;
  return new VolaryError('bad-study', { where: `${quoteName(name)}: ${where || 'the whole file'}`, what, got, expected, mend: more });
}

function describeExpected(e: ErrorObject): string {
  const p = e.params as Record<string, unknown>;
  switch (e.keyword) {
    case 'type': return ({ object: 'an object { ... }', array: 'a list [ ... ]', string: 'text', integer: 'a whole number', number: 'a number' })[String(p.type)] ?? String(p.type);
    case 'const': return showValue(p.allowedValue);
    case 'minimum': return `at least ${p.limit}`;
    case 'maximum': return `at most ${p.limit}`;
    case 'exclusiveMinimum': return `more than ${p.limit}`;
    case 'minLength': return 'a text that is not empty';
    case 'minItems': return `at least ${p.limit} entr${p.limit === 1 ? 'y' : 'ies'}`;
    case 'maxItems': return `at most ${p.limit} entries`;
    case 'pattern': return e.instancePath !== '/start' ? 'a name without blanks around it' : 'a UTC time such as 2024-05-01T06:00:00Z';
    default: return e.message ?? e.keyword;
  }
}

function describeField(schemaPath: string, field: string): string {
  const owner = followPath(studySchema, schemaPath.split('/').slice(1, -1)) as { properties?: Record<string, { description?: string }> } | undefined;
  const description = owner?.properties?.[field]?.description;
  return description ? `${JSON.stringify(field)}: ${description.replace(/\.$/, '')}` : JSON.stringify(field);
}

function followPath(value: unknown, path: string[]): unknown {
  return path.reduce<unknown>((v, key) => (v as Record<string, unknown> | undefined)?.[key], value);
}

function showValue(value: unknown): string {
  const text = value === undefined ? 'nothing' : JSON.stringify(value);
  return text.length > 60 ? `${text.slice(0, 57)}...` : text;
}

function describeJsonError(text: string, error: Error): string {
  if (text.trim() === '') return 'an empty file';
  if (text.includes('\0')) return 'a binary file';
  const index = findJsonError(text);
  if (index < 0) return error.message.replace(/\s+/g, ' ');
  const found = text.slice(index).trim() === '' ? 'the end of the file' : quoteName(text.slice(index, index + 12).split('\n')[0]);
  return `${found} in ${describePlace(text, index)}`;
}
