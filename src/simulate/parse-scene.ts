import { Ajv } from 'ajv';
import type { ErrorObject, ValidateFunction } from 'ajv';
import { VolaryError } from '../schema/errors.js';
import { sceneSchema } from './scene-schema.js';
import type { FullScene } from './scene.js';

let validate: ValidateFunction | undefined;

/**
 * Checks a scene, fills in the defaults and returns a copy; the input stays as it is.
 * @throws VolaryError 'bad-scene' that names the place
 */
export function parseScene(input: unknown): FullScene {
  validate ??= new Ajv({ useDefaults: true, allErrors: false, strict: false, verbose: true }).compile(sceneSchema);
  const scene = structuredClone(input) as FullScene;
  if (!validate(scene)) throw toSceneError((validate.errors ?? [])[0]);
  checkReferences(scene);
  checkRanges(scene);
  return scene;
}

export function toSceneError(error: ErrorObject): VolaryError {
  const where = toPlace(error.instancePath);
  const got = JSON.stringify(error.data)?.slice(0, 60);
  const params = error.params as Record<string, unknown>;
  if (error.keyword === 'required') return new VolaryError('bad-scene', { what: `'${String(params.missingProperty)}' is missing`, where });
  if (error.keyword === 'additionalProperties') return new VolaryError('bad-scene', { what: `unknown key '${String(params.additionalProperty)}'`, where });
  const expected = error.keyword === 'enum' ? `one of ${JSON.stringify(params.allowedValues)}` : (error.message ?? 'another value').replace(/^must (be )?/, '');
  return new VolaryError('bad-scene', { what: 'wrong value', where, got, expected });
}

/** '/birds/2/tag/gainDb' as 'birds[2].tag.gainDb'. */
function toPlace(pointer: string): string {
  if (pointer === '') return 'scene';
  return pointer.slice(1).split('/').map((p) => p.replace(/~1/g, '/').replace(/~0/g, '~'))
    .map((p, i) => (/^\d+$/.test(p) ? `[${p}]` : i === 0 ? p : `.${p}`)).join('');
}

function fail(where: string, what: string, got: unknown, expected: string): never {
  throw new VolaryError('bad-scene', { what, where, got: JSON.stringify(got), expected });
}

function checkReferences(scene: FullScene): void {
  const names = new Set<string>();
  const recorders = new Set(scene.recorders.map((r) => r.name));
  if (recorders.size !== scene.recorders.length) fail('recorders', 'two recorders share a name', scene.recorders.map((r) => r.name), 'distinct names');
  const first = scene.recorders[0];
  if (first.offsetSec !== 0 || first.driftPpm !== 0 || first.wanderPpm !== 0) fail('recorders[0]', 'the first recorder is the reference clock', first, 'no offset, drift or wander');
  scene.birds.forEach((bird, b) => {
    const where = `birds[${b}]`;
    if (names.has(bird.name)) fail(`${where}.name`, 'two birds share a name', bird.name, 'distinct names');
    if (bird.name === 'none') fail(`${where}.name`, 'this name is kept for callers without a tag', bird.name, 'another name');
    names.add(bird.name);
    if (!(bird.voice in scene.voices)) fail(`${where}.voice`, 'no such voice', bird.voice, `one of ${JSON.stringify(Object.keys(scene.voices))}`);
    if (bird.tagged && !recorders.has(bird.recorder)) fail(`${where}.recorder`, 'no such recorder', bird.recorder, `one of ${JSON.stringify([...recorders])}`);
    bird.perchesM.forEach((p, i) => p.forEach((v, axis) => {
      if (!(v > 0 && v < scene.room.sizeM[axis])) fail(`${where}.perchesM[${i}][${axis}]`, 'perch outside the room', v, `between 0 and ${scene.room.sizeM[axis]}`);
    }));
  });
  if (!scene.birds.some((b) => b.tagged)) fail('birds', 'no bird carries a tag', scene.birds.length, 'at least one tagged bird');
  const tagged = new Set(scene.birds.filter((b) => b.tagged).map((b) => b.name));
  scene.link.breakthrough.forEach((b, i) => (['from', 'to'] as const).forEach((key) => {
    if (!tagged.has(b[key])) fail(`link.breakthrough[${i}].${key}`, 'no such tagged bird', b[key], 'the name of a tagged bird');
  }));
  scene.calls?.forEach((call, i) => {
    const bird = scene.birds.find((b) => b.name === call.bird);
    if (!bird) fail(`calls[${i}].bird`, 'no such bird', call.bird, 'the name of a bird');
    if (call.onsetSec >= scene.durationSec) fail(`calls[${i}].onsetSec`, 'call after the end', call.onsetSec, `less than ${scene.durationSec}`);
    if (call.type !== undefined && !scene.voices[bird.voice].calls.some((c) => c.name === call.type)) fail(`calls[${i}].type`, 'no such call in this voice', call.type, JSON.stringify(scene.voices[bird.voice].calls.map((c) => c.name)));
  });
}

/** Ranges must ascend; JSON Schema cannot say so. */
function checkRanges(value: unknown, where = ''): void {
  if (Array.isArray(value)) {
    if (value.length === 2 && value.every((v) => typeof v === 'number') && value[0] > value[1]) fail(where, 'range runs backwards', value, 'low first, high second');
    value.forEach((v, i) => checkRanges(v, `${where}[${i}]`));
  } else if (value !== null && typeof value === 'object') {
    for (const [key, v] of Object.entries(value)) checkRanges(v, where === '' ? key : `${where}.${key}`);
  }
  if (where === '') checkSamples(value as FullScene);
}

function checkSamples(scene: FullScene): void {
  for (const [voice, v] of Object.entries(scene.voices)) v.calls.forEach((c, i) => {
    if (c.kind === 'samples' && c.samples.length === 0) fail(`voices.${voice}.calls[${i}].samples`, 'no sample files', [], 'at least one file name');
    for (const part of ['lead', 'tail'] as const) if (c.kind === 'samples' && c[part]) fail(`voices.${voice}.calls[${i}].${part}`, 'a recorded call has no drawn parts', part, 'a call of another kind, or no such part');
  });
}
