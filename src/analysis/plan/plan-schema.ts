import { SCENE_PRESETS } from '../../simulate/random-scene.js';

const POSITIVE = { type: 'number', exclusiveMinimum: 0 } as const;
const SHARE = { type: 'number', exclusiveMinimum: 0, maximum: 1 } as const;

/** JSON Schema (draft 2020-12) of the file that `volary plan` reads. */
export const planSchema = {
  $schema: 'https://json-schema.org/draft/2020-12/schema',
  title: 'Volary tag plan',
  description: 'Birds, tags, radio, batteries and recording of a study that is being planned.',
  type: 'object',
  required: ['volary_plan', 'name', 'days', 'birds'],
  additionalProperties: false,
  properties: {
    volary_plan: { const: 1, description: 'Version of the plan format.' },
    name: { type: 'string', minLength: 1, description: 'Name of the study.' },
    note: { type: 'string' },
    days: { ...POSITIVE, maximum: 3650, description: 'Days from the fitting of the tags to their removal.' },
    birds: {
      type: 'array',
      minItems: 1,
      maxItems: 64,
      description: 'Who will wear a tag.',
      items: {
        type: 'object',
        required: ['name', 'mass_g', 'tag_g'],
        additionalProperties: false,
        properties: {
          name: { type: 'string', pattern: '^\\S([\\s\\S]*\\S)?$', description: 'Name of the bird, unique in the plan.' },
          mass_g: { ...POSITIVE, description: 'Mass of the bird in grams, weighed lately.' },
          tag_g: { ...POSITIVE, description: 'Mass in grams of all that it carries: transmitter, battery, harness, glue.' },
          carrier_mhz: { ...POSITIVE, maximum: 100000, description: 'Carrier in MHz where it is settled; without it one is proposed.' },
        },
      },
    },
    radio: {
      type: 'object',
      required: ['deviation_khz', 'audio_khz'],
      additionalProperties: false,
      description: 'Frequency modulation of the transmitters.',
      properties: {
        deviation_khz: { ...POSITIVE, description: 'Peak frequency deviation in kHz.' },
        audio_khz: { ...POSITIVE, description: 'Highest audio frequency in kHz.' },
        band_mhz: { type: 'array', items: POSITIVE, minItems: 2, maxItems: 2, description: 'Lowest and highest frequency that may be used, in MHz, bandwidth included.' },
        raster_khz: { ...POSITIVE, description: 'Step between possible carriers in kHz.' },
      },
    },
    battery: {
      type: 'object',
      required: ['capacity_mah', 'current_ma'],
      additionalProperties: false,
      description: 'Cell and consumption of a tag.',
      properties: {
        capacity_mah: { ...POSITIVE, description: 'Nominal capacity of the cell in mAh.' },
        current_ma: { ...POSITIVE, description: 'Mean current of the tag in mA.' },
        usable_share: { ...SHARE, description: 'Share of the nominal capacity that is counted on.' },
      },
    },
    recording: {
      type: 'object',
      required: ['sample_rate_hz', 'bits'],
      additionalProperties: false,
      description: 'What the recorders write.',
      properties: {
        sample_rate_hz: { ...POSITIVE, description: 'Samples per second and track.' },
        bits: { enum: [8, 16, 24, 32], description: 'Bits per sample.' },
        tracks: { type: 'integer', minimum: 1, description: 'Tracks in all (default: one per bird).' },
        tracks_per_file: { type: 'integer', minimum: 1, description: 'Tracks in one file (default 1).' },
        hours_per_day: { ...POSITIVE, maximum: 24, description: 'Hours recorded per day (default 24).' },
      },
    },
    trial: {
      type: 'object',
      additionalProperties: false,
      description: 'Recordings to simulate, for the accuracy to be expected.',
      properties: {
        scene: { type: 'string', minLength: 1, description: 'Scene file of the simulator, relative to the plan: room, birds, tags, links, clocks.' },
        room: { enum: SCENE_PRESETS, description: 'Kind of room to draw at random, another one for every recording.' },
        runs: { type: 'integer', minimum: 1, maximum: 100, description: 'Recordings to simulate (default 3).' },
        seed: { type: 'integer', minimum: 0, maximum: 4294967195, description: 'Seed of the first (default 1).' },
      },
    },
    settings: {
      type: 'object',
      additionalProperties: false,
      properties: {
        guideline_percent: { ...POSITIVE, description: 'Advised most tag mass in percent of body mass (default 3).' },
        limit_percent: { ...POSITIVE, description: 'Often permitted most tag mass in percent of body mass (default 5).' },
        days_after_fitting: { type: 'number', minimum: 0, description: 'Days left out after the fitting (default 3).' },
        days_after_battery: { type: 'number', minimum: 0, description: 'Days left out after a battery change (default 1).' },
      },
    },
  },
} as const;
