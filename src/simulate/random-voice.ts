import type { Random } from './random.js';
import type { CallPart, Contour, Formant, FullCallType, FullVoice, Range, SyllableKind } from './scene.js';

/** Families of voices that a random scene may hold. */
export type VoiceFamily = 'stacks' | 'whistles' | 'mixed' | 'ticks';

const CONTOURS: readonly Contour[] = ['flat', 'down', 'up', 'arch', 'valley', 'wave'];

/** Draws a species: a few call types that belong together. Birds of one species differ by `individuality`. */
export function drawSpecies(random: Random, family: VoiceFamily, withSong: boolean): FullVoice {
  const calls: FullCallType[] = [];
  const count = random.whole(2, 4);
  const kinds = KINDS[family];
  const baseHz = random.logRange(350, 1200);
  for (let i = 0; i < count; i++) {
    const kind = i === 0 ? kinds[0] : kinds[random.whole(0, kinds.length - 1)];
    calls.push(drawCallType(random, kind, `${kind}${i + 1}`, i, baseHz));
  }
  return {
    calls, individuality: random.range(0.08, 0.7),
    ...(withSong ? { song: { boutsPerMin: random.range(0.2, 0.9), syllables: [3, 6] as Range, motifs: [1, 3] as Range, gapSec: [random.range(0.025, 0.04), random.range(0.05, 0.12)] as Range, levelDb: [-12, -3] as Range } } : {}),
  };
}

const KINDS: Record<VoiceFamily, readonly SyllableKind[]> = {
  stacks: ['stack', 'stack', 'stack', 'stack', 'double', 'double', 'harsh', 'trill'],
  whistles: ['whistle', 'whistle', 'trill', 'tick', 'harsh'],
  mixed: ['stack', 'whistle', 'trill', 'harsh', 'double', 'tick', 'stack'],
  ticks: ['tick', 'trill', 'whistle', 'harsh'],
};

function drawCallType(random: Random, kind: SyllableKind, name: string, index: number, baseHz: number): FullCallType {
  // The first kind of a repertoire is its soft contact call, the second its loud distance call.
  const soft = index === 0 || (index > 1 && random.chance(0.4));
  const center = soft ? random.range(-17, -7) : random.range(-4, 4), half = random.range(2, 7);
  const duration = drawDuration(random, kind, soft);
  const broad = kind === 'stack' || kind === 'double';
  return {
    name, kind, share: random.range(0.4, 1.2), durationSec: duration, levelDb: [center - half, center + half],
    freqHz: drawFrequency(random, kind, baseHz), contour: random.pick(CONTOURS),
    sweepOct: kind === 'whistle' || kind === 'trill' ? random.range(0.02, 1) : random.range(0, 0.35),
    vibratoHz: random.chance(0.25) ? random.range(15, 80) : 0, vibratoSemitones: random.range(0.1, kind === 'whistle' ? 2 : 0.8),
    attackSec: random.logRange(0.002, 0.02), decaySec: random.logRange(0.01, 0.25 * duration[1] + 0.011),
    tiltDbPerOct: random.range(-6, 1), formants: broad || (kind === 'harsh' && random.chance(0.5)) ? drawFormants(random) : [],
    noiseShare: random.logRange(0.001, random.chance(0.2) ? 0.4 : 0.06),
    elementHz: kind === 'trill' ? random.logRange(12, 60) : kind === 'harsh' || random.chance(0.15) ? random.logRange(20, 180) : 0,
    elementDuty: random.range(0.35, 0.85), bandwidthOct: random.logRange(0.2, 2.5), secondRatio: random.range(1.08, 2.2), samples: [],
  };
}

/** A part unlike the call that it leads into or follows: of any kind and from hardly audible to as loud; half of them after a few milliseconds of silence. */
export function drawPart(random: Random, call: FullCallType): CallPart {
  const kind = random.pick(['stack', 'double', 'whistle', 'harsh', 'trill'] as const), broad = kind === 'stack' || kind === 'double';
  const center = random.range(-16, 3), half = random.range(1, 4), durationSec = random.logRange(0.015, 0.1), spread = random.range(1.05, 1.3);
  return {
    kind, durationSec: [durationSec / spread, durationSec * spread], levelDb: [center - half, center + half],
    freqHz: broad && (call.kind === 'stack' || call.kind === 'double') ? call.freqHz * random.logRange(0.7, 1.5) : drawFrequency(random, kind, random.logRange(350, 1200)),
    contour: random.pick(CONTOURS), sweepOct: random.range(0.02, broad ? 0.4 : 1), gapSec: random.chance(0.5) ? [0, 0] : [0, random.range(0.002, 0.02)],
  };
}

function drawDuration(random: Random, kind: SyllableKind, soft: boolean): Range {
  if (kind === 'tick') { const d = random.logRange(0.006, 0.02); return [0.8 * d, 1.3 * d]; }
  const d = soft ? random.logRange(0.04, 0.12) : random.logRange(0.09, 0.25);
  const spread = random.range(1.05, 1.5), stretch = kind === 'trill' ? 1.7 : 1;
  return [(d * stretch) / spread, d * stretch * spread];
}

function drawFrequency(random: Random, kind: SyllableKind, baseHz: number): number {
  switch (kind) {
    case 'stack': case 'double': return baseHz * random.range(0.75, 1.4);
    case 'whistle': return random.logRange(1900, 8000);
    case 'trill': return random.logRange(1600, 6500);
    case 'harsh': return random.logRange(1800, 6500);
    default: return random.logRange(2200, 7500);
  }
}

function drawFormants(random: Random): Formant[] {
  const formants: Formant[] = [];
  let f = random.range(900, 3200);
  for (let i = random.whole(1, 4); i > 0 && f < 10500; i--) {
    formants.push({ freqHz: f, widthHz: random.range(400, 2200), gainDb: random.range(-14, 0) });
    f += random.range(700, 3000);
  }
  formants[0].gainDb = 0;
  return formants;
}
