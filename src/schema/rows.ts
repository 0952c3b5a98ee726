/** Rows of the tables that `attribute` writes. Times in seconds on the clock of the first recorder, since the study's start. */
export interface CallRow {
  callId: number;
  /** Name of the bird, or 'none' for a caller without a tag. */
  bird: string;
  onsetSec: number;
  offsetSec: number;
  /** RFC 3339 time of the onset, '' where the study's start is unknown. */
  onsetUtc: string;
  /** Probability that this row is a real call of that bird. */
  probability: number;
  /** Track (bird name) on which the call was measured. */
  track: string;
  levelDb: number;
  snrDb: number;
  peakHz: number;
  /** Number of other calls in the table that overlap this one. */
  overlaps: number;
  runnerUp: string;
  runnerUpProbability: number;
}

export interface SoundRow {
  kind: 'body' | 'dropout' | 'breakthrough' | 'room' | 'unsure';
  track: string;
  onsetSec: number;
  offsetSec: number;
  levelDb: number;
  /** For breakthrough: the track it comes from. For unsure: the second likeliest bird. */
  source: string;
}

export interface ClockRow {
  recorder: string;
  tRefSec: number;
  /** File time of this recorder minus reference time. */
  offsetSec: number;
  ppm: number;
  /** Standard uncertainty of offsetSec. */
  uncertaintySec: number;
}

export interface TrackHourRow {
  track: string;
  recorder: string;
  startSec: number;
  usableSec: number;
  noiseFloorDb: number;
  gainDb: number;
  lostShare: number;
}

/** A labelled call (truth). */
export interface LabelRow {
  bird: string;
  onsetSec: number;
  offsetSec: number;
  /** Any further columns of the label file, as text. */
  extra: Record<string, string>;
}
