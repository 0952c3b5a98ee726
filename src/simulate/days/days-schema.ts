/** JSON Schema (draft 07) of an invented study of several days. The defaults stand here and nowhere else. */

const number = (def: number, minimum: number, maximum: number, description: string) => ({ type: 'number', default: def, minimum, maximum, description }) as const;
const object = (properties: Record<string, unknown>, required: string[] = []) => ({ type: 'object', additionalProperties: false, properties, required }) as const;
const part = (properties: Record<string, unknown>) => ({ ...object(properties), default: {} }) as const;
const NAME = { type: 'string', minLength: 1, pattern: '^\\S([^/\\\\\\u0000-\\u001f]*\\S)?$' } as const;

const bird = object({
  name: NAME,
  callsPerHour: number(40, 0, 2000, 'spontaneous calls per hour of light'),
  songsPerHour: number(2, 0, 200, 'song bouts per hour of light'),
  bodyPerHour: number(60, 0, 5000, 'wing beats and preening, sounds per hour of light'),
}, ['name']);

const pair = object({
  caller: NAME,
  replier: NAME,
  probability: number(0.2, 0, 0.95, 'that a call (no syllable of song) of the caller is answered'),
  latencySec: number(0.25, 0.02, 5, 'median from the onset of the call to the onset of the reply'),
  spread: number(0.3, 0, 2, 'standard deviation of the logarithm of the latency'),
}, ['caller', 'replier']);

const effect = (calls: number, body: number, days: number, shape: string) => part({
  calls: number(calls, 0, 10, 'factor on calling right after the handling'),
  body: number(body, 0, 10, 'factor on body noise right after the handling'),
  days: number(days, 0, 60, 'days until nothing of it is left'),
  shape: { enum: ['linear', 'step'], default: shape, description: 'linear: fades evenly to nothing; step: stays, then ends' },
});

export const daysSchema = object({
  $schema: { type: 'string' },
  name: { type: 'string', minLength: 1, default: 'invented study of several days' },
  note: { type: 'string' },
  start: { type: 'string', pattern: '^\\d{4}-\\d{2}-\\d{2}T\\d{2}:\\d{2}:\\d{2}Z$', default: '2031-05-01T04:00:00Z', description: "the study's start in UTC" },
  days: number(10, 0.05, 60, 'length in days'),
  lightHours: { type: 'array', items: { type: 'number', minimum: 0, maximum: 24 }, minItems: 2, maxItems: 2, default: [6, 20], description: 'UTC hours of the day between which birds are awake' },
  birds: { type: 'array', items: bird, minItems: 2, maxItems: 40 },
  untaggedPerHour: number(5, 0, 2000, 'calls of birds without a tag per hour of light'),
  pairs: { type: 'array', items: pair, default: [] },
  handling: {
    type: 'array', default: [],
    items: object({ bird: { type: 'string', default: '', description: 'nothing = all birds' }, day: number(0, 0, 60, "days since the study's start"), what: { enum: ['fitted', 'battery', 'removed', 'other'] } }, ['day', 'what']),
  },
  effects: part({ fitted: effect(0.4, 1.8, 3, 'linear'), battery: effect(0.6, 1.4, 1, 'step'), other: effect(0.7, 1.3, 0.5, 'step') }),
  scatter: part({
    hourly: number(0.3, 0, 2, "standard deviation of the logarithm of a bird's rate from hour to hour"),
    daily: number(0.05, 0, 2, "standard deviation of the logarithm of a bird's rate from day to day"),
    sharedHourly: number(0.2, 0, 2, 'the same for what moves all birds at once: common drive, no influence of one on another'),
  }),
  attribution: part({
    missed: number(0.05, 0, 1, 'share of calls that are not found'),
    wrong: number(0.03, 0, 0.4, 'share of rows that name the wrong bird; probabilities are calibrated'),
    ghosts: number(0.01, 0, 1, 'second rows of another bird for the same sound, per call'),
  }),
  links: part({ lostPerDay: number(4, 0, 1000, 'losses of a link per bird and day'), lostMeanSec: number(300, 1, 86400, 'mean length of a loss in s') }),
}, ['birds']);
