/** What the page is told of a study before it reads any table. */
export interface StudyInfo {
  name: string;
  /** RFC 3339 time of the study's start. */
  start?: string;
  sampleRateHz: number;
  durationSec: number;
  recorders: string[];
  tracks: TrackInfo[];
  /** Band of the calls, Hz. */
  bandHz: [number, number];
  /** Ties corrections to the call table that they correct. */
  callsFingerprint: string;
  /** What is worth knowing about the recordings, one line each. */
  notes: string[];
}

export interface TrackInfo {
  bird: string;
  recorder: string;
  /** Receiver gain against the mean of all, dB. */
  gainDb: number;
  /** True where a track with the other birds' voices removed can be played. */
  hasVoice: boolean;
}

/** A request for samples: `sliceCount` slices of `sliceFrames` frames, one every `stepSec` from `startSec` on the reference clock. */
export interface SliceRequest {
  startSec: number;
  sliceFrames: number;
  stepSec: number;
  sliceCount: number;
  /** Indices into the study's tracks. */
  tracks: number[];
  /** Separated voices instead of the tracks as recorded. */
  voices?: boolean;
}

/** Most samples that one request may ask for. */
export const MOST_SAMPLES = 48_000_000;
