import { VolaryError } from '../schema/errors.js';
import { Random, hashLabel } from './random.js';
import { drawSpecies } from './random-voice.js';
import type { VoiceFamily } from './random-voice.js';
import type { Point, Range, Scene } from './scene.js';

/** Kinds of random scenes, easy to harsh. */
export const SCENE_PRESETS = ['easy', 'normal', 'crowded', 'two-clocks', 'small-species', 'harsh'] as const;
export type ScenePreset = (typeof SCENE_PRESETS)[number];

/** What a preset fixes; everything else is drawn. Pairs are [low, high] of a uniform draw. */
interface Habit {
  birds: Range; untagged: Range; callsPerMin: Range; rooms: readonly ('box' | 'cage' | 'room' | 'aviary')[]; rt60Sec: Range;
  gainSpreadDb: Range; gainWanderDb: Range; overlap: Range; reply: Range; contactShare: number; noiseDb: Range; bodyScale: Range;
  bursts: Range; losses: Range; fades: Range; hit: Range; breakthroughs: Range; nominalGainDb: Range; overloadProbability: number;
  recorders: Range; families: readonly VoiceFamily[]; rates: readonly number[]; songProbability: number; speech: Range; obstacles: Range; moves: Range;
}

const NORMAL: Habit = {
  birds: [4, 9], untagged: [0, 2], callsPerMin: [35, 75], rooms: ['box', 'cage', 'room', 'room', 'aviary'], rt60Sec: [0.08, 0.6],
  gainSpreadDb: [2, 11], gainWanderDb: [0, 1.5], overlap: [0.02, 0.14], reply: [0.2, 0.5], contactShare: 0.3, noiseDb: [-50, -34], bodyScale: [0.5, 1.6],
  bursts: [0, 0.4], losses: [0, 0.1], fades: [0, 0.2], hit: [0, 0.02], breakthroughs: [0, 1], nominalGainDb: [-8, 6], overloadProbability: 0.2,
  recorders: [1, 1], families: ['stacks', 'stacks', 'mixed', 'whistles'], rates: [44100, 44100, 48000, 32000], songProbability: 0.25, speech: [0, 0.3], obstacles: [0, 0.3], moves: [0, 2],
};

const PRESETS: Record<ScenePreset, Habit> = {
  easy: { ...NORMAL, birds: [2, 5], untagged: [0, 0], callsPerMin: [20, 45], rooms: ['room', 'aviary', 'cage'], rt60Sec: [0.06, 0.35], gainSpreadDb: [0, 4], overlap: [0, 0.06], contactShare: 0.05, bodyScale: [0, 0.5], bursts: [0, 0], losses: [0, 0], fades: [0, 0], hit: [0, 0], breakthroughs: [0, 0], overloadProbability: 0, speech: [0, 0], moves: [0, 1] },
  normal: NORMAL,
  crowded: { ...NORMAL, birds: [6, 16], untagged: [0, 3], callsPerMin: [55, 110], rooms: ['box', 'cage', 'cage', 'room'], rt60Sec: [0.15, 0.8], gainSpreadDb: [5, 13], overlap: [0.08, 0.24], contactShare: 0.65, bursts: [0, 1], hit: [0, 0.05], breakthroughs: [0, 2], nominalGainDb: [-6, 10], overloadProbability: 0.5 },
  'two-clocks': { ...NORMAL, recorders: [2, 3], birds: [4, 9], overlap: [0.02, 0.12] },
  'small-species': { ...NORMAL, families: ['whistles', 'mixed', 'ticks', 'whistles'], rates: [22050, 44100, 48000], songProbability: 0.4, birds: [3, 9] },
  harsh: { ...NORMAL, birds: [5, 12], untagged: [1, 4], callsPerMin: [45, 110], rooms: ['box', 'cage', 'room', 'aviary'], rt60Sec: [0.2, 0.8], gainSpreadDb: [6, 16], gainWanderDb: [0.3, 3], overlap: [0.1, 0.28], contactShare: 0.5, noiseDb: [-45, -28], bodyScale: [1, 3], bursts: [0.2, 2.5], losses: [0, 0.6], fades: [0, 1], hit: [0.02, 0.12], breakthroughs: [0, 3], nominalGainDb: [-8, 14], overloadProbability: 0.6, families: ['stacks', 'mixed', 'mixed', 'whistles'], songProbability: 0.35, speech: [0, 1], obstacles: [0, 0.6], moves: [0, 5] },
};

const ROOM_SIZES: Record<'box' | 'cage' | 'room' | 'aviary', { low: Point; high: Point }> = {
  box: { low: [0.5, 0.5, 0.5], high: [1.2, 0.9, 1] },
  cage: { low: [0.9, 0.8, 0.8], high: [2.2, 1.6, 1.8] },
  room: { low: [1.8, 1.6, 1.8], high: [4, 3.2, 2.6] },
  aviary: { low: [3.5, 2.4, 2.2], high: [6, 4, 3] },
};

/**
 * Draws a scene: room, birds, voices, links and clocks all at random within a preset's habits.
 * @throws VolaryError 'bad-option' on an unknown preset
 */
export function drawRandomScene(seed: number, preset: ScenePreset = 'normal'): Scene {
  const habit = PRESETS[preset];
  if (!habit) throw new VolaryError('bad-option', { what: 'no such preset', got: String(preset), expected: `one of ${SCENE_PRESETS.join(', ')}` });
  const random = new Random(hashLabel(seed, `random scene ${preset}`));
  const size = drawSize(random, random.pick(habit.rooms));
  const birdCount = random.whole(habit.birds[0], habit.birds[1]), untagged = random.whole(habit.untagged[0], habit.untagged[1]);
  const recorderCount = random.whole(habit.recorders[0], habit.recorders[1]), durationSec = Math.round(random.range(60, 90));
  const species = random.chance(0.7) ? 1 : 2;
  const voices: Scene['voices'] = {};
  for (let s = 0; s < species; s++) voices[`species${s + 1}`] = drawSpecies(random, random.pick(habit.families), random.chance(habit.songProbability));
  const noiseDb = between(random, habit.noiseDb);
  const birds = drawBirds(random, habit, size, { birdCount, untagged, recorderCount, species, noiseDb });
  if (preset === 'harsh' && random.chance(0.25)) Object.assign(birds[random.whole(0, birdCount - 1)].tag!, { batteryEndSec: durationSec * random.range(0.4, 0.95), batteryEndNoiseDb: random.range(-10, 4) });
  return {
    title: `${preset} ${seed}`, durationSec, sampleRateHz: random.pick(habit.rates),
    room: {
      sizeM: size, rt60Sec: drawReverberation(random, habit.rt60Sec, size), highRatio: random.range(0.3, 0.95), temperatureC: random.range(14, 30), humidityPct: random.range(25, 80),
      scatter: random.range(0.1, 1), obstacleShare: between(random, habit.obstacles), obstacleDb: random.range(3, 14),
    },
    background: { levelDb: noiseDb + random.range(-16, 1), rumbleDb: noiseDb + random.range(-16, 6), rumbleHz: random.logRange(60, 400) },
    recorders: Array.from({ length: recorderCount }, (_, i) => (i === 0 ? { name: '1' } : {
      name: String(i + 1), offsetSec: random.range(-4, 4), driftPpm: random.range(-70, 70), wanderPpm: random.range(0, 1.5), wanderSec: random.logRange(60, 900),
    })),
    voices, birds,
    calling: { replyProbability: between(random, habit.reply), replyLatencySec: [random.range(0.06, 0.15), random.range(0.25, 0.5)], overlapShare: between(random, habit.overlap), marginSec: 1 },
    ...drawNoises(random, habit), link: drawLink(random, habit, birdCount, durationSec),
  };
}

function between(random: Random, range: Range): number { return random.range(range[0], range[1]); }

type Company = { birdCount: number; untagged: number; recorderCount: number; species: number; noiseDb: number };

function drawBirds(random: Random, habit: Habit, size: Point, company: Company): NonNullable<Scene['birds']> {
  const { birdCount, untagged, recorderCount, species } = company;
  const slots = placePerches(random, size, birdCount + untagged, habit.contactShare);
  const eagerness = slots.map((_, b) => random.logRange(0.35, 2.2) * (b < birdCount ? 1 : 0.5)), eager = eagerness.reduce((a, b) => a + b, 0);
  const callsPerMin = between(random, habit.callsPerMin), moves = between(random, habit.moves), directivityDb = random.range(1, 10);
  const drawTag = makeTagDraw(random, habit, company.noiseDb);
  return slots.map((perchesM, b) => ({
    name: b < birdCount ? `B${b + 1}` : `U${b - birdCount + 1}`, voice: `species${1 + (b % species)}`, tagged: b < birdCount,
    recorder: String(1 + Math.floor((Math.min(b, birdCount - 1) * recorderCount) / birdCount)), perchesM,
    movesPerMin: perchesM.length > 1 ? moves * random.range(0.3, 1.7) : random.range(0, 2), callsPerMin: (callsPerMin * eagerness[b]) / eager,
    levelDb: random.range(-4, 4), directivityDb, tag: drawTag(),
  }));
}

/** Tags of one make: common habits drawn once, small differences from tag to tag. */
function makeTagDraw(random: Random, habit: Habit, noiseDb: number): () => NonNullable<NonNullable<Scene['birds']>[number]['tag']> {
  const spread = between(random, habit.gainSpreadDb), nominal = between(random, habit.nominalGainDb), wander = between(random, habit.gainWanderDb);
  const overloading = random.chance(habit.overloadProbability), muffled = random.range(5000, 18000);
  const lift = random.range(0, 10), shadow = random.range(0, 9), mouth = random.range(0.02, 0.04);
  return () => ({
    gainDb: nominal + spread * random.range(-0.5, 0.5) * (random.chance(0.1) ? 1.5 : 1), gainWanderDb: wander * random.range(0, 1.2), gainWanderSec: random.logRange(8, 60),
    noiseDb: noiseDb + 3 * random.gauss(), receiverNoiseDbfs: random.range(-90, -66), lowCutHz: random.chance(0.8) ? random.logRange(40, 400) : 0,
    highCutHz: muffled * random.range(0.8, 1.25), tiltDb: 3 * random.gauss(), mouthM: Math.min(0.042, Math.max(0.018, mouth + 0.004 * random.gauss())),
    liftDb: Math.max(0, lift + 1.5 * random.gauss()), liftHz: random.logRange(700, 2200), shadowDb: Math.max(0, shadow + 2 * random.gauss()),
    overloadDb: overloading && random.chance(0.75) ? random.range(5, 18) : 45, softOverload: random.chance(0.5), delaySec: random.chance(0.8) ? random.range(0, 0.000022) : random.range(0, 0.0001),
    humDbfs: random.chance(0.15) ? random.range(-75, -45) : -150, humHz: random.pick([50, 60]), dcOffset: random.chance(0.15) ? random.range(-0.008, 0.008) : 0,
  });
}

function drawNoises(random: Random, habit: Habit): Pick<Scene, 'bodyNoise' | 'roomNoise'> {
  const body = between(random, habit.bodyScale);
  return {
    bodyNoise: {
      wingPerMin: body * random.logRange(0.3, 2), preenPerMin: body * random.logRange(0.3, 2.5), scratchPerMin: body * random.logRange(0.05, 0.8), peckPerMin: body * random.logRange(0.05, 0.8),
      hopPerMin: body * random.logRange(0.1, 1.5), shakePerMin: body * random.logRange(0.05, 0.5), levelDb: [random.range(-28, -18), random.range(-4, 4)], airborneDb: random.range(-38, -20),
    },
    roomNoise: { cagePerMin: random.range(0, 2.5), thumpPerMin: random.range(0, 0.5), speechPerMin: between(random, habit.speech), levelDb: [-10, random.range(4, 16)] },
  };
}

function drawLink(random: Random, habit: Habit, birdCount: number, durationSec: number): NonNullable<Scene['link']> {
  return {
    burstPerMin: between(random, habit.bursts), burstSec: [random.logRange(0.002, 0.1), random.range(0.25, 0.8)], lossPerMin: between(random, habit.losses), lossSec: [1, 8],
    fadePerMin: between(random, habit.fades), fadeSec: [0.3, 4], noiseDb: [random.range(-14, -3), random.range(0, 6)], noiseKind: random.pick(['flat', 'flat', 'mixed', 'rising', 'falling'] as const),
    hitCallProbability: between(random, habit.hit), breakthrough: drawBreakthrough(random, random.whole(habit.breakthroughs[0], habit.breakthroughs[1]), birdCount, durationSec),
  };
}

function drawSize(random: Random, kind: keyof typeof ROOM_SIZES): Point {
  const { low, high } = ROOM_SIZES[kind];
  return [0, 1, 2].map((i) => Math.round(100 * random.range(low[i], high[i])) / 100) as Point;
}

/** Small boxes cannot ring as long as halls: their walls are mostly wire and wood. */
function drawReverberation(random: Random, range: Range, size: Point): number {
  const volume = size[0] * size[1] * size[2];
  return Math.max(0.05, random.logRange(range[0], range[1]) * Math.min(1, Math.pow(volume / 4, 0.25)));
}

/** Perches for every bird, no two birds closer than 4 cm; a share of the birds sits beside another one (5 to 9 cm). */
function placePerches(random: Random, size: Point, count: number, contactShare: number): Point[][] {
  const taken: Point[] = [], all: Point[][] = [];
  const free = (p: Point): boolean => p.every((v, i) => v > 0.05 && v < size[i] - 0.05) && taken.every((q) => Math.hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]) >= 0.04);
  for (let b = 0; b < count; b++) {
    const own: Point[] = [], wanted = random.chance(0.4) ? 1 : random.whole(2, 4);
    for (let tries = 0; own.length < wanted && tries < 200; tries++) {
      let p: Point;
      if (b > 0 && random.chance(contactShare)) {
        const beside = random.pick(random.pick(all)), angle = random.range(0, 2 * Math.PI), r = random.range(0.045, 0.09);
        p = [beside[0] + r * Math.cos(angle), beside[1] + r * Math.sin(angle), beside[2] + random.range(-0.01, 0.01)];
      } else p = [random.range(0.08, 0.92) * size[0], random.range(0.08, 0.92) * size[1], random.range(0.2, 0.85) * size[2]];
      if (!free(p)) continue;
      const rounded = p.map((v) => Math.round(v * 1000) / 1000) as Point;
      own.push(rounded); taken.push(rounded);
    }
    all.push(own);
  }
  return all;
}

function drawBreakthrough(random: Random, count: number, birds: number, durationSec: number): { from: string; to: string; levelDb: number; onsetSec: number; offsetSec: number }[] {
  return Array.from({ length: birds > 1 ? count : 0 }, () => {
    const to = random.whole(1, birds), from = ((to - 1 + random.whole(1, birds - 1)) % birds) + 1;
    const lengthSec = random.chance(0.25) ? durationSec : random.range(3, 25), onsetSec = random.range(0, Math.max(0.001, durationSec - lengthSec));
    return { from: `B${from}`, to: `B${to}`, levelDb: random.range(-32, -18), onsetSec, offsetSec: Math.min(durationSec, onsetSec + lengthSec) };
  });
}
