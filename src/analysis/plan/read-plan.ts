import { Ajv2020 } from 'ajv/dist/2020.js';
import type { ErrorObject, ValidateFunction } from 'ajv';
import { quoteName, VolaryError } from '../../schema/errors.js';
import { describePlace, findJsonError } from '../../study/json-place.js';
import type { ScenePreset } from '../../simulate/random-scene.js';
import { planSchema } from './plan-schema.js';

export interface PlannedBird { name: string; mass_g: number; tag_g: number; carrier_mhz?: number }

/** The file that `volary plan` reads; planSchema says what each field means. */
export interface TagPlanFile {
  volary_plan: 1;
  name: string;
  note?: string;
  days: number;
  birds: PlannedBird[];
  radio?: { deviation_khz: number; audio_khz: number; band_mhz?: [number, number]; raster_khz?: number };
  battery?: { capacity_mah: number; current_ma: number; usable_share?: number };
  recording?: { sample_rate_hz: number; bits: 8 | 16 | 24 | 32; tracks?: number; tracks_per_file?: number; hours_per_day?: number };
  trial?: { scene?: string; room?: ScenePreset; runs?: number; seed?: number };
  settings?: { guideline_percent?: number; limit_percent?: number; days_after_fitting?: number; days_after_battery?: number };
}

/**
 * Reads a plan from its JSON text.
 * @throws VolaryError 'bad-table' naming the place, what was found and what was expected
 * @example parsePlan('{"volary_plan":1,...}', 'plan.json')
 */
export function parsePlan(text: string, name: string): TagPlanFile {
  const clean = text.replace(/^\uFEFF/, '');
  let value: unknown;
  try {
    value = JSON.parse(clean);
  } catch (cause) {
    const index = findJsonError(clean);
    const got = clean.trim() === '' ? 'an empty file' : index < 0 ? 'something else' : `${quoteName(clean.slice(index, index + 12).split('\n')[0])} in ${describePlace(clean, index)}`;
    throw new VolaryError('bad-table', { where: quoteName(name), what: 'is not JSON', got, expected: 'a tag plan' }, { cause });
  }
  validator ??= new Ajv2020({ allErrors: true, strict: true, strictTypes: false, strictTuples: false }).compile<TagPlanFile>(planSchema);
  if (!validator(value)) throw translate(validator.errors!, value, name);
  return requireSense(value, name);
}

let validator: ValidateFunction<TagPlanFile> | undefined;

/** What a schema cannot say. */
function requireSense(plan: TagPlanFile, name: string): TagPlanFile {
  const complain = (where: string, what: string, got: unknown, expected: string): never => {
    throw new VolaryError('bad-table', { where: `${quoteName(name)}: ${where}`, what, got: JSON.stringify(got), expected });
  };
  const names = new Set<string>();
  plan.birds.forEach((bird, i) => {
    if (names.has(bird.name)) complain(`birds[${i}].name`, 'this bird is named twice', bird.name, 'a name of its own for every bird');
    names.add(bird.name);
    if (bird.carrier_mhz !== undefined && !plan.radio) complain(`birds[${i}].carrier_mhz`, 'a carrier without "radio"', bird.carrier_mhz, '"radio" with deviation_khz and audio_khz');
    if (bird.tag_g >= bird.mass_g) complain(`birds[${i}].tag_g`, 'the tag is as heavy as the bird', bird.tag_g, `less than mass_g ${bird.mass_g}; both are in grams`);
  });
  const radio = plan.radio;
  if (radio?.band_mhz && radio.band_mhz[0] >= radio.band_mhz[1]) complain('radio.band_mhz', 'the band is empty', radio.band_mhz, 'the smaller number first');
  if (radio && (radio.band_mhz === undefined) !== (radio.raster_khz === undefined)) complain('radio', 'a band needs a raster and a raster a band', Object.keys(radio), 'both band_mhz and raster_khz, or neither');
  if (plan.trial && (plan.trial.scene === undefined) === (plan.trial.room === undefined)) complain('trial', 'not one room', Object.keys(plan.trial), 'either scene (a file) or room (a kind)');
  const { guideline_percent: low = 3, limit_percent: high = 5 } = plan.settings ?? {};
  if (low > high) complain('settings', 'the guideline is above the limit', [low, high], 'guideline_percent up to limit_percent');
  return plan;
}

function translate(errors: ErrorObject[], value: unknown, name: string): VolaryError {
  const first = errors[0], path = first.instancePath.split('/').slice(1);
  const place = path.map((s) => (/^\d+$/.test(s) ? `[${s}]` : `.${s}`)).join('').replace(/^\./, '') || 'the whole file';
  const found = path.reduce<unknown>((v, key) => (v as Record<string, unknown>)[key], value);
  const params = first.params as Record<string, unknown>;
  const mend = errors.length > 1 ? `${errors.length - 1} more like it` : undefined;
  const where = `${quoteName(name)}: ${place}`;
  if (first.keyword === 'required') return new VolaryError('bad-table', { where, what: `${JSON.stringify(params.missingProperty)} is missing`, got: `only ${Object.keys(found as object).map((k) => quoteName(k)).join(', ') || 'nothing'}`.slice(0, 200), mend });
  if (first.keyword === 'additionalProperties') {
    const known = Object.keys((first.schemaPath.split('/').slice(1, -1).reduce<unknown>((v, key) => (v as Record<string, unknown>)[key], planSchema) as { properties: object }).properties);
    return new VolaryError('bad-table', { where, what: 'this word has no meaning here', got: quoteName(String(params.additionalProperty)), expected: `one of ${known.join(', ')}`, mend });
  }
  return new VolaryError('bad-table', { where, what: 'wrong value', got: JSON.stringify(found).slice(0, 60), expected: describeExpected(first, params), mend });
}

function describeExpected(error: ErrorObject, params: Record<string, unknown>): string {
  switch (error.keyword) {
    case 'type': return ({ object: 'an object { ... }', array: 'a list [ ... ]', string: 'text', integer: 'a whole number', number: 'a number' })[String(params.type)] ?? String(params.type);
    case 'const': return JSON.stringify(params.allowedValue);
    case 'enum': return `one of ${(params.allowedValues as unknown[]).join(', ')}`;
    case 'minimum': return `at least ${String(params.limit)}`;
    case 'maximum': return `at most ${String(params.limit)}`;
    case 'exclusiveMinimum': return `more than ${String(params.limit)}`;
    case 'minItems': return `at least ${String(params.limit)} entries`;
    case 'maxItems': return `at most ${String(params.limit)} entries`;
    default: return error.keyword === 'pattern' || error.keyword === 'minLength' ? 'a name without blanks around it' : error.message ?? error.keyword;
  }
}
