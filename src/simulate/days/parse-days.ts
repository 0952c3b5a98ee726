import { Ajv } from 'ajv';
import type { ValidateFunction } from 'ajv';
import { VolaryError } from '../../schema/errors.js';
import { toSceneError } from '../parse-scene.js';
import { daysSchema } from './days-schema.js';
import type { FullDays } from './days.js';
import { parseDateTime } from '../../numeric/date-time.js';

let validate: ValidateFunction | undefined;

/**
 * Checks the description of a study of several days and fills in the defaults; the input stays as it is.
 * @throws VolaryError 'bad-scene' that names the place
 */
export function parseDays(input: unknown): FullDays {
  validate ??= new Ajv({ useDefaults: true, allErrors: false, strict: false, verbose: true }).compile(daysSchema);
  const days = structuredClone(input) as FullDays;
  if (!validate(days)) throw toSceneError((validate.errors ?? [])[0]);
  checkNames(days);
  if (days.lightHours[0] >= days.lightHours[1]) fail('lightHours', 'it never gets light', days.lightHours, 'the earlier hour first');
  if (!Number.isFinite(parseDateTime(days.start))) fail('start', 'no such time', days.start, 'a UTC time such as 2031-05-01T04:00:00Z');
  return days;
}

function checkNames(days: FullDays): void {
  const names = days.birds.map((b) => b.name);
  days.birds.forEach((b, i) => {
    if (b.name === 'none') fail(`birds[${i}].name`, 'this name is kept for callers without a tag', b.name, 'another name');
    if (names.indexOf(b.name) !== i) fail(`birds[${i}].name`, 'two birds share a name', b.name, 'distinct names');
  });
  const replies = new Map<string, number>();
  days.pairs.forEach((p, i) => {
    for (const role of ['caller', 'replier'] as const) if (!names.includes(p[role])) fail(`pairs[${i}].${role}`, 'no such bird', p[role], `one of ${names.join(', ')}`);
    if (p.caller === p.replier) fail(`pairs[${i}]`, 'a bird that replies to itself', p.caller, 'two birds');
    if (days.pairs.findIndex((q) => q.caller === p.caller && q.replier === p.replier) !== i) fail(`pairs[${i}]`, 'this pair is there already', `${p.caller}, ${p.replier}`, 'every pair once');
    replies.set(p.caller, (replies.get(p.caller) ?? 0) + p.probability);
  });
  // Every call must bring less than one reply on average, or replies to replies never end.
  for (const [caller, sum] of replies) if (sum >= 0.95) fail('pairs', `replies to ${caller} would go on for ever`, Number(sum.toFixed(3)), 'probabilities of all who reply to one bird below .95 together');
  days.handling.forEach((h, i) => {
    if (h.bird !== '' && !names.includes(h.bird)) fail(`handling[${i}].bird`, 'no such bird', h.bird, `one of ${names.join(', ')}, or nothing for all`);
    if (h.day >= days.days) fail(`handling[${i}].day`, 'after the end of the study', h.day, `less than ${days.days}`);
  });
}

function fail(where: string, what: string, got: unknown, expected: string): never {
  throw new VolaryError('bad-scene', { what, where, got: JSON.stringify(got), expected });
}
