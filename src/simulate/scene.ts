/** What a scene says. Every field but a few has a default (scene-schema.ts); FullScene is a scene with all of them filled in. */

export type Range = [number, number];
export type Point = [number, number, number];

export type SyllableKind = 'stack' | 'whistle' | 'trill' | 'harsh' | 'tick' | 'double' | 'samples';
export type Contour = 'flat' | 'down' | 'up' | 'arch' | 'valley' | 'wave';

export interface Formant { freqHz: number; widthHz: number; gainDb: number }

/** A first or last part of a call that is unlike the rest; what is not named here is as in the call. */
export interface CallPart {
  kind: Exclude<SyllableKind, 'samples'>;
  durationSec: Range;
  /** Root mean square relative to the rest of the call. */
  levelDb: Range;
  freqHz: number;
  contour: Contour;
  sweepOct: number;
  /** Silence between it and the rest. */
  gapSec: Range;
}

/** One kind of call in a repertoire. Ranges are drawn anew for every call. */
export interface FullCallType {
  name: string;
  kind: SyllableKind;
  /** Relative frequency of use. */
  share: number;
  durationSec: Range;
  /** Source level relative to the nominal call, per call. */
  levelDb: Range;
  /** Fundamental (stack, double), carrier (whistle, trill, tick) or band centre (harsh). */
  freqHz: number;
  contour: Contour;
  /** Extent of the contour in octaves. */
  sweepOct: number;
  vibratoHz: number;
  /** Depth of the vibrato in semitones. */
  vibratoSemitones: number;
  attackSec: number;
  decaySec: number;
  /** Slope of the harmonics or of the noise band. */
  tiltDbPerOct: number;
  formants: Formant[];
  /** Power share of noise in a tonal call. */
  noiseShare: number;
  /** Elements per second of a trill; rate of amplitude modulation of other kinds (0 = none). */
  elementHz: number;
  /** Share of an element's period that sounds. */
  elementDuty: number;
  /** Width of the noise of harsh calls in octaves. */
  bandwidthOct: number;
  /** Frequency ratio of the second voice of a double-voiced call. */
  secondRatio: number;
  /** Names of sample files, for kind 'samples'. */
  samples: string[];
  /** A part before, and one after: calls of two or three unlike parts. Not for kind 'samples'. */
  lead?: CallPart;
  tail?: CallPart;
}

export interface FullSong {
  boutsPerMin: number;
  /** Syllables in a motif, drawn once per bird. */
  syllables: Range;
  motifs: Range;
  gapSec: Range;
  levelDb: Range;
}

export interface FullVoice {
  calls: FullCallType[];
  song?: FullSong;
  /** Whether all calls of the voice share one scale of individual differences (0 = clones, 1 = plainly different birds). */
  individuality: number;
}

export interface FullTag {
  gainDb: number;
  gainWanderDb: number;
  gainWanderSec: number;
  /** Microphone and modulation noise relative to the nominal own call: moves with the gain. */
  noiseDb: number;
  /** Noise behind the gain, in dB re full scale. */
  receiverNoiseDbfs: number;
  lowCutHz: number;
  highCutHz: number;
  /** High shelf at 3 kHz: feathers, pre-emphasis mismatch. */
  tiltDb: number;
  /** Distance of the wearer's mouth from its microphone. */
  mouthM: number;
  liftDb: number;
  liftHz: number;
  shadowDb: number;
  /** Level above the nominal own call (peak) at which the tag overloads. */
  overloadDb: number;
  softOverload: boolean;
  delaySec: number;
  humDbfs: number;
  humHz: number;
  /** Constant offset, full scale = 1. */
  dcOffset: number;
  /** From here on only receiver noise, as after a dead battery. */
  batteryEndSec?: number;
  batteryEndNoiseDb: number;
}

export interface FullBird {
  name: string;
  voice: string;
  tagged: boolean;
  recorder: string;
  perchesM: Point[];
  movesPerMin: number;
  callsPerMin: number;
  /** Loudness of this individual. */
  levelDb: number;
  directivityDb: number;
  tag: FullTag;
}

export interface FullRoom {
  sizeM: Point;
  rt60Sec: number;
  /** Pressure reflection of all walls or of x0, x1, y0, y1, z0, z1; replaces rt60Sec. */
  reflection?: number | number[];
  /** Reverberation time at 8 kHz divided by that at 1 kHz. */
  highRatio: number;
  temperatureC: number;
  humidityPct: number;
  pressureKpa: number;
  /** Irregularity of the walls' echoes, 0 = mirror walls. */
  scatter: number;
  /** Share of perch-to-microphone paths with something in the way, and its loss. */
  obstacleShare: number;
  obstacleDb: number;
}

export interface FullBackground { levelDb: number; rumbleDb: number; rumbleHz: number }

export interface FullRecorder {
  name: string;
  /** File time minus reference time at reference time zero. */
  offsetSec: number;
  driftPpm: number;
  wanderPpm: number;
  wanderSec: number;
}

export interface FullCalling {
  replyProbability: number;
  replyLatencySec: Range;
  /** Share of calls that start while another bird calls. */
  overlapShare: number;
  /** Silence kept at both ends. */
  marginSec: number;
}

export interface FullBodyNoise {
  wingPerMin: number;
  preenPerMin: number;
  scratchPerMin: number;
  peckPerMin: number;
  hopPerMin: number;
  shakePerMin: number;
  levelDb: Range;
  /** How much quieter the same sound is in the air at 3 cm. */
  airborneDb: number;
}

export interface FullRoomNoise { cagePerMin: number; thumpPerMin: number; speechPerMin: number; knockPerMin: number; levelDb: Range }

export interface FullBreakthrough { from: string; to: string; levelDb: number; onsetSec: number; offsetSec: number }

export interface FullLink {
  /** Receiver noise for a moment or for seconds, per bird. */
  burstPerMin: number;
  burstSec: Range;
  lossPerMin: number;
  lossSec: Range;
  /** Partial loss: the signal sinks into the receiver's noise and comes back. */
  fadePerMin: number;
  fadeSec: Range;
  noiseDb: Range;
  noiseKind: 'flat' | 'rising' | 'falling' | 'silent' | 'mixed';
  /** Probability that a call of the bird itself is hit by a burst. */
  hitCallProbability: number;
  breakthrough: FullBreakthrough[];
}

export interface FullCall { bird: string; onsetSec: number; type?: string; levelDb?: number }

export interface FullScene {
  title: string;
  durationSec: number;
  sampleRateHz: number;
  room: FullRoom;
  background: FullBackground;
  recorders: FullRecorder[];
  voices: Record<string, FullVoice>;
  birds: FullBird[];
  calling: FullCalling;
  bodyNoise: FullBodyNoise;
  roomNoise: FullRoomNoise;
  link: FullLink;
  /** 16 or 24: samples are rounded to this many bits. */
  bits: number;
  /** Explicit calls in place of drawn ones. */
  calls?: FullCall[];
}

type Loose<T> = T extends [number, number, number] | [number, number] | number | string | boolean ? T
  : T extends (infer U)[] ? Loose<U>[]
  : T extends object ? { [K in keyof T]?: Loose<T[K]> } : T;

/** A scene as a user writes it: fields with a default may be left out. */
export type Scene = Loose<FullScene>;

/** A nominal call (0 dB) has this root mean square on its own track with a gain of 0 dB, at a mouth distance of 3 cm. */
export const NOMINAL_OWN_DBFS = -25;
export const NOMINAL_MOUTH_M = 0.03;
