/** What a report is made from: tables, optional scores, and optional pictures measured from sound. */
import type { CallRow, ClockRow, LabelRow, SoundRow, TrackHourRow } from '../schema/rows.js';
import type { Score } from '../score/score-calls.js';
import type { VerifiedScore } from '../score/score-verified.js';
import type { ReportAnalyses } from './analysis-input.js';

/** What the report says about the study; names only, no file is opened. */
export interface ReportStudy {
  name: string;
  note?: string;
  /** RFC 3339 time of the study's start. */
  start?: string;
  recorders: readonly string[];
  tracks: readonly { bird: string; recorder: string }[];
}

/** What a refit did to the probabilities, as far as its records tell. */
export interface RefitRecord {
  /** File of the rows that were judged. */
  labelFile?: string;
  /** New probabilities below this were left out. */
  threshold?: number;
  leftOut?: number;
  judged?: number;
  right?: number;
  /** Calibration error of the judged rows before, and after in rows that the fit had not seen. */
  errorBefore?: number;
  errorAfter?: number;
  /** False where the new probabilities foretell unseen rows no better than the old ones. */
  isBetter?: boolean;
  /** The correction of log-odds. */
  line?: unknown;
}

/** The record of the run (run.json) as far as the report tells it. Whatever is missing is left out. */
export interface RunRecord {
  durationSec?: number;
  /** Receiver gains against the mean of all, by bird. */
  gainsDb?: Readonly<Record<string, number>>;
  settings?: unknown;
  versions?: unknown;
  kernelHash?: string;
  inputs?: unknown;
  /** Where the probabilities were calibrated anew. */
  refit?: RefitRecord;
}

/** A stretch of the study chosen for a picture; seconds on the reference clock, half-open. */
export interface Excerpt {
  startSec: number;
  endSec: number;
}

/** Short-time spectra of one track as an 8-bit grey picture, dark = loud, low frequencies at the bottom. */
export interface TrackPicture {
  track: string;
  widthPx: number;
  heightPx: number;
  /** data: URI of a PNG. */
  png: string;
}

export interface ExcerptPicture extends Excerpt {
  tracks: TrackPicture[];
  lowHz: number;
  highHz: number;
  /** Level, dB, that is drawn white and black; relative to full scale after the receivers' gains are taken out. */
  whiteDb: number;
  blackDb: number;
}

/** How one sure call reached another bird's track. */
export interface EvidencePoint {
  callId: number;
  bird: string;
  /** The other track. */
  track: string;
  /** Arrival on the other track after the caller's own, milliseconds. */
  lagMs: number;
  /** Level on the caller's own track over that on the other, dB, as recorded. */
  rawLeadDb: number;
  /** The same after the receivers' gains are taken out. */
  leadDb: number;
}

export interface ReportInput extends ReportAnalyses {
  study: ReportStudy;
  run: RunRecord;
  calls: readonly CallRow[];
  sounds: readonly SoundRow[];
  clock: readonly ClockRow[];
  hours: readonly TrackHourRow[];
  /** From score.json against labels of a stretch. */
  score?: Score;
  /** From score.json of a sample verified by ear. */
  verified?: VerifiedScore;
  /** Labelled calls, drawn under the tracks in the excerpts. */
  labels?: readonly LabelRow[];
  excerpts: readonly ExcerptPicture[];
  evidence: readonly EvidencePoint[];
  /** Why there are no pictures from sound, one sentence. */
  withoutSound?: string;
  /** Version of the program. */
  version: string;
}
