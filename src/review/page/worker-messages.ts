import type { StudyInfo, SliceRequest } from '../study-info.js';
import type { ClockRow } from '../../schema/rows.js';
import type { Timeline } from '../../study/timeline.js';

/** Where a worker gets samples from: the review server, or files that a person chose. */
export type SoundPlace = { kind: 'server'; base: string } | { kind: 'files'; timeline: Timeline; clock: ClockRow[]; files: ReadonlyMap<string, Blob> };

/** The first message to a worker. */
export interface WorkerStart { kernels: WebAssembly.Module; info: StudyInfo; place: SoundPlace }

/** Level that counts as nothing, by track and bin of the transform, dB. */
export interface FloorTable { binCount: number; floorDb: Float32Array }

/** How tiles look; another look makes other tiles. */
export interface TileLook {
  /** Colours from floor to loud, 256 entries of 0xAABBGGRR. */
  colours: Uint32Array;
  /** dB over the floor at which the last colour is reached. */
  rangeDb: number;
  /** Height of a track's picture in the tile, pixels. */
  rows: number;
  topHz: number;
}

export interface TileJob { kind: 'tile'; index: number; hopFrames: number; look: TileLook; floor: FloorTable }
export interface FloorJob { kind: 'floor' }
export interface SamplesJob { kind: 'samples'; request: SliceRequest }
export interface MeasureJob { kind: 'measure'; onsetSec: number; offsetSec: number; own: number }
export type WorkerJob = TileJob | FloorJob | SamplesJob | MeasureJob;

/** How a call stands on one track. */
export interface TrackEvidence {
  /** Level within the band, dB, the noise before the call taken off and the receiver's gain taken out; -Infinity where nothing is left. */
  levelDb: number;
  /** Level over the noise just before the call, dB. */
  riseDb: number;
  /** Arrival after the own track, ms; undefined where the two do not plainly hear the same sound. */
  lagMs?: number;
  /** Peak of the whitened correlation with the own track, 0 to 1. */
  likeness: number;
  /** Mean spectrum of the call, dB, gain taken out, by bin from firstBin. */
  spectrumDb: Float32Array;
}

export interface CallEvidence { tracks: TrackEvidence[]; firstHz: number; binHz: number; own: number }

export interface WorkerResults { tile: ImageBitmap; floor: FloorTable; samples: Float32Array; measure: CallEvidence }
export type WorkerAnswer = { id: number; value: WorkerResults[keyof WorkerResults] } | { id: number; failure: string };

/** Columns of a tile. */
export const TILE_COLUMNS = 256;
