/** JSON Schema (draft 07) of a scene. The defaults stand here and nowhere else. */

const number = (def: number, minimum: number, maximum: number, description: string) => ({ type: 'number', default: def, minimum, maximum, description }) as const;
const perMin = (def: number, what: string) => number(def, 0, 600, `${what} per minute`);
const range = (low: number, high: number, minimum: number, maximum: number, description: string) => ({
  type: 'array', items: { type: 'number', minimum, maximum }, minItems: 2, maxItems: 2, default: [low, high], description,
}) as const;
const point = { type: 'array', items: { type: 'number' }, minItems: 3, maxItems: 3 } as const;
const object = (properties: Record<string, unknown>, required: string[] = []) => ({ type: 'object', additionalProperties: false, properties, required }) as const;
const part = (properties: Record<string, unknown>) => ({ ...object(properties), default: {} }) as const;
const name = { type: 'string', minLength: 1, pattern: '^[^/\\\\\\u0000-\\u001f]+$' } as const;

const formant = object({
  freqHz: { type: 'number', exclusiveMinimum: 0 }, widthHz: { type: 'number', exclusiveMinimum: 0 }, gainDb: { type: 'number' },
}, ['freqHz', 'widthHz', 'gainDb']);

const contour = { enum: ['flat', 'down', 'up', 'arch', 'valley', 'wave'], default: 'arch' } as const;

const callPart = object({
  kind: { enum: ['stack', 'whistle', 'trill', 'harsh', 'tick', 'double'] },
  durationSec: range(0.03, 0.06, 0.003, 5, 'length of the part in s'),
  levelDb: range(-9, 0, -60, 30, 'level relative to the rest of the call'),
  freqHz: number(600, 50, 40000, 'fundamental, carrier or band centre'),
  contour,
  sweepOct: number(0.15, 0, 3, 'extent of the frequency contour in octaves'),
  gapSec: range(0, 0, 0, 0.5, 'silence between it and the rest in s'),
}, ['kind']);

const callType = object({
  name: { type: 'string', default: 'call' },
  kind: { enum: ['stack', 'whistle', 'trill', 'harsh', 'tick', 'double', 'samples'] },
  share: number(1, 0, 1e6, 'relative frequency of use'),
  durationSec: range(0.08, 0.16, 0.003, 5, 'length of a call in s'),
  levelDb: range(-6, 3, -60, 30, 'source level relative to the nominal call'),
  freqHz: number(600, 50, 40000, 'fundamental, carrier or band centre'),
  contour,
  sweepOct: number(0.15, 0, 3, 'extent of the frequency contour in octaves'),
  vibratoHz: number(0, 0, 300, 'rate of vibrato'),
  vibratoSemitones: number(0, 0, 12, 'depth of vibrato'),
  attackSec: number(0.006, 0.0005, 1, 'rise'),
  decaySec: number(0.03, 0.0005, 2, 'fall'),
  tiltDbPerOct: number(-3, -24, 12, 'slope of the harmonics'),
  formants: { type: 'array', items: formant, default: [] },
  noiseShare: number(0.01, 0, 1, 'power share of noise in a tonal call'),
  elementHz: number(0, 0, 300, 'elements per second of a trill, or amplitude modulation'),
  elementDuty: number(0.6, 0.05, 1, 'sounding share of an element'),
  bandwidthOct: number(1, 0.05, 6, 'width of a harsh call'),
  secondRatio: number(1.35, 1, 4, 'ratio of the second voice'),
  samples: { type: 'array', items: { type: 'string' }, default: [] },
  lead: callPart,
  tail: callPart,
}, ['kind']);

const song = object({
  boutsPerMin: perMin(0.5, 'song bouts'),
  syllables: range(3, 7, 1, 30, 'syllables in a motif'),
  motifs: range(1, 4, 1, 30, 'motifs in a bout'),
  gapSec: range(0.02, 0.08, 0, 2, 'gap between syllables'),
  levelDb: range(-8, -2, -60, 30, 'level of song'),
});

const tag = part({
  gainDb: number(0, -60, 60, 'receiver gain'),
  gainWanderDb: number(0, 0, 20, 'slow wander of the gain (standard deviation)'),
  gainWanderSec: number(30, 1, 1e5, 'time scale of the wander'),
  noiseDb: number(-40, -120, 20, 'microphone noise relative to the nominal own call'),
  receiverNoiseDbfs: number(-90, -200, 0, 'noise behind the gain'),
  lowCutHz: number(80, 0, 5000, 'high-pass corner of the tag, 0 = none'),
  highCutHz: number(14000, 500, 96000, 'low-pass corner of the tag'),
  tiltDb: number(0, -20, 20, 'high shelf at 3 kHz'),
  mouthM: number(0.03, 0.01, 0.2, 'mouth to microphone'),
  liftDb: number(6, 0, 20, 'low-frequency lift of the own voice by body conduction'),
  liftHz: number(1200, 100, 5000, 'corner of that lift'),
  shadowDb: number(4, 0, 30, 'loss at 8 kHz for sound through the body'),
  overloadDb: number(40, -20, 80, 'peak level over the nominal own call at which the tag overloads'),
  softOverload: { type: 'boolean', default: false },
  delaySec: number(0, 0, 0.05, 'delay of the receiver'),
  humDbfs: number(-150, -200, 0, 'mains hum'),
  humHz: number(50, 10, 1000, 'mains frequency'),
  dcOffset: number(0, -0.5, 0.5, 'constant offset'),
  batteryEndSec: { type: 'number', minimum: 0 },
  batteryEndNoiseDb: number(0, -120, 40, 'noise level after the battery has died'),
});

const bird = object({
  name,
  voice: { type: 'string' },
  tagged: { type: 'boolean', default: true },
  recorder: { type: 'string', default: '1' },
  perchesM: { type: 'array', items: point, minItems: 1 },
  movesPerMin: perMin(0, 'changes of perch'),
  callsPerMin: perMin(6, 'calls'),
  levelDb: number(0, -40, 40, 'loudness of this individual'),
  directivityDb: number(8, 0, 30, 'loss at 8 kHz behind the head'),
  tag,
}, ['name', 'voice', 'perchesM']);

const room = part({
  sizeM: { type: 'array', items: { type: 'number', minimum: 0.2, maximum: 100 }, minItems: 3, maxItems: 3, default: [3, 2.5, 2.2] },
  rt60Sec: number(0.3, 0.02, 5, 'reverberation time at 1 kHz'),
  reflection: { anyOf: [{ type: 'number', minimum: 0, maximum: 0.999 }, { type: 'array', items: { type: 'number', minimum: 0, maximum: 0.999 }, minItems: 6, maxItems: 6 }] },
  highRatio: number(0.6, 0.1, 1.5, 'reverberation time at 8 kHz over that at 1 kHz'),
  temperatureC: number(22, -20, 50, 'air temperature'),
  humidityPct: number(50, 1, 100, 'relative humidity'),
  pressureKpa: number(101.325, 50, 110, 'air pressure'),
  scatter: number(0.4, 0, 2, 'irregularity of the walls'),
  obstacleShare: number(0, 0, 1, 'share of paths with something in the way'),
  obstacleDb: number(8, 0, 40, 'loss by it'),
});

export const sceneSchema = {
  $schema: 'http://json-schema.org/draft-07/schema#',
  title: 'Aviary scene',
  description: 'Room, birds, tags, links and clocks of a simulated recording. Lengths in m, times in s, levels in dB relative to a nominal call at its own microphone.',
  ...object({
    $schema: { type: 'string' },
    title: { type: 'string', default: '' },
    durationSec: { type: 'number', minimum: 1, maximum: 3600 },
    sampleRateHz: { type: 'integer', minimum: 8000, maximum: 96000, default: 44100 },
    room,
    background: part({
      levelDb: number(-52, -150, 20, 'room noise at every microphone'),
      rumbleDb: number(-50, -150, 20, 'low rumble common to all microphones'),
      rumbleHz: number(150, 20, 2000, 'upper corner of the rumble'),
    }),
    recorders: {
      type: 'array', minItems: 1, default: [{ name: '1' }],
      items: object({
        name, offsetSec: number(0, -60, 60, 'file time minus reference time'), driftPpm: number(0, -500, 500, 'rate'),
        wanderPpm: number(0, 0, 50, 'wander of the rate'), wanderSec: number(300, 10, 1e6, 'period of the wander'),
      }, ['name']),
    },
    voices: {
      type: 'object', minProperties: 1,
      additionalProperties: object({
        calls: { type: 'array', items: callType, minItems: 1 }, song, individuality: number(0.3, 0, 2, 'differences between birds'),
      }, ['calls']),
    },
    birds: { type: 'array', items: bird, minItems: 1, maxItems: 40 },
    calling: part({
      replyProbability: number(0.35, 0, 0.95, 'probability that a call is answered'),
      replyLatencySec: range(0.1, 0.4, 0, 10, 'from the end of a call to the answer'),
      overlapShare: number(0.1, 0, 0.95, 'share of calls that start during another'),
      marginSec: number(1, 0, 60, 'silence at both ends'),
    }),
    bodyNoise: part({
      wingPerMin: perMin(1, 'wing beats of a bird'), preenPerMin: perMin(1, 'preening'), scratchPerMin: perMin(0.3, 'scratching'),
      peckPerMin: perMin(0.3, 'pecking'), hopPerMin: perMin(0.5, 'landings'), shakePerMin: perMin(0.2, 'shaking'),
      levelDb: range(-22, 0, -80, 40, 'level on the own track'),
      airborneDb: number(-26, -100, 0, 'the same sound in air at 3 cm'),
    }),
    roomNoise: part({
      cagePerMin: perMin(1, 'rattling of the cage'), thumpPerMin: perMin(0, 'doors'), speechPerMin: perMin(0, 'voices of people'), knockPerMin: perMin(0, 'blows on bars, perches and bowls'),
      levelDb: range(-12, 6, -80, 60, 'source level'),
    }),
    link: part({
      burstPerMin: perMin(0, 'short dropouts of a link'), burstSec: range(0.05, 0.5, 0.0005, 60, 'their length'),
      lossPerMin: perMin(0, 'long dropouts'), lossSec: range(1, 8, 0.01, 3600, 'their length'),
      fadePerMin: perMin(0, 'fades'), fadeSec: range(0.5, 4, 0.01, 600, 'their length'),
      noiseDb: range(-6, 6, -120, 40, 'receiver noise of a lost link'),
      noiseKind: { enum: ['flat', 'rising', 'falling', 'silent', 'mixed'], default: 'flat' },
      hitCallProbability: number(0, 0, 1, 'probability that a call is hit by a dropout'),
      breakthrough: {
        type: 'array', default: [],
        items: object({
          from: { type: 'string' }, to: { type: 'string' }, levelDb: number(-25, -80, 0, 'level of the other track'),
          onsetSec: number(0, 0, 3600, 'start'), offsetSec: number(3600, 0, 3600, 'end'),
        }, ['from', 'to']),
      },
    }),
    bits: { enum: [16, 24], default: 16 },
    calls: {
      type: 'array',
      items: object({ bird: { type: 'string' }, onsetSec: { type: 'number', minimum: 0 }, type: { type: 'string' }, levelDb: { type: 'number', minimum: -80, maximum: 40 } }, ['bird', 'onsetSec']),
    },
  }, ['durationSec', 'voices', 'birds']),
} as const;
