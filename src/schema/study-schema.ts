/** A name has no blanks around it: they would be lost in a table. */
const NAME = '^\\S([\\s\\S]*\\S)?$';

/** JSON Schema (draft 2020-12) of a study manifest. The same text is published as study.schema.json beside this file. */
export const studySchema = {
  $schema: 'https://json-schema.org/draft/2020-12/schema',
  title: 'Volary study manifest',
  description: 'Which file and channel holds which bird, on which recorder, and when it starts.',
  type: 'object',
  required: ['volary', 'name', 'recorders', 'tracks'],
  additionalProperties: false,
  properties: {
    $schema: { type: 'string', description: 'Where this schema lies, for editors.' },
    volary: { const: 1, description: 'Version of the manifest format.' },
    name: { type: 'string', minLength: 1, description: 'Name of the study.' },
    note: { type: 'string', description: 'Anything worth remembering.' },
    start: {
      type: 'string',
      pattern: '^\\d{4}-\\d{2}-\\d{2}T\\d{2}:\\d{2}:\\d{2}(\\.\\d+)?Z$',
      description: "The study's start, RFC 3339 in UTC. All start_s count from here.",
    },
    handling: { type: 'string', minLength: 1, description: 'Handling log (CSV with bird, time and what), relative to the manifest.' },
    recorders: {
      type: 'array',
      minItems: 1,
      description: 'The recorders; the first is the reference clock.',
      items: {
        type: 'object',
        required: ['name'],
        additionalProperties: false,
        properties: {
          name: { type: 'string', pattern: NAME, description: 'Name of the recorder, unique in the study.' },
          note: { type: 'string' },
        },
      },
    },
    tracks: {
      type: 'array',
      minItems: 1,
      description: 'One track per bird.',
      items: {
        type: 'object',
        required: ['bird', 'recorder', 'files'],
        additionalProperties: false,
        properties: {
          bird: { type: 'string', pattern: NAME, description: "Name of the wearer, unique in the study; 'none' and 'no_call' are taken." },
          recorder: { type: 'string', minLength: 1, description: 'Name of the recorder whose clock the files follow.' },
          note: { type: 'string' },
          files: {
            type: 'array',
            minItems: 1,
            items: {
              type: 'object',
              required: ['path', 'channel'],
              additionalProperties: false,
              properties: {
                path: { type: 'string', minLength: 1, description: "File, relative to the manifest, with '/' on every system." },
                channel: { type: 'integer', minimum: 1, maximum: 65535, description: 'Channel in the file, the first is 1.' },
                start_s: {
                  type: 'number',
                  minimum: 0,
                  maximum: 1e9,
                  description: "Start of the file in seconds since the study's start on the recorder's clock. Without it, a file starts where the one before ends.",
                },
              },
            },
          },
        },
      },
    },
    settings: {
      type: 'object',
      additionalProperties: false,
      description: 'What is known about the calls; whatever is left out is estimated from the recording.',
      properties: {
        band_hz: {
          type: 'array', minItems: 2, maxItems: 2, items: { type: 'number', minimum: 0, maximum: 1e6 },
          description: 'Lowest and highest frequency of the calls in Hz.',
        },
        call_s: {
          type: 'array', minItems: 2, maxItems: 2, items: { type: 'number', exclusiveMinimum: 0, maximum: 60 },
          description: 'Shortest and longest call in seconds.',
        },
      },
    },
  },
} as const;
