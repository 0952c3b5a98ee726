import type { CallRow, SoundRow, TrackHourRow } from '../../schema/rows.js';

/** A stretch of time, half-open, seconds since the study's start. */
export interface Interval {
  startSec: number;
  endSec: number;
}

/** Time that the study leaves out: of one bird, or of all where `bird` is empty. */
export interface ExcludedWindow extends Interval {
  bird: string;
  reason: string;
}

/** What a network is built from: tables, never sound. */
export interface NetworkInput {
  calls: readonly CallRow[];
  /** Rows of tracks.csv; without them all time from 0 to the last call counts as observed. */
  tracks?: readonly TrackHourRow[];
  /** Rows of sounds.csv: lost links are no time in which a bird could be heard. */
  sounds?: readonly SoundRow[];
  excluded?: readonly ExcludedWindow[];
  /** Pairs of birds that belong together, for the contrast of pair bonds. */
  bonds?: readonly (readonly [string, string])[];
}

export interface NetworkSettings {
  /** A reply starts at least so long after the start of the call ... */
  fromSec: number;
  /** ... and less than so long. */
  toSec: number;
  /** Calls below this probability are left out. */
  threshold: number;
  /** Thresholds at which the network is told once more. */
  thresholds: readonly number[];
  /** Longest block of the circular shifts. */
  blockSec: number;
  /** Length of the cells within which bouts are moved for the second kind of surrogate. */
  jitterSec: number;
  /** Calls of one bird nearer than this (onset to onset) are one bout and move together. */
  boutGapSec: number;
  surrogates: number;
  /** Draws of the attribution (with blocks of time drawn anew). */
  draws: number;
  seed: number;
  /** Calls of two birds whose onsets are nearer than this are heard as one sound. */
  sharedGapSec: number;
  /** Expected share of false edges among those called edges (Benjamini and Hochberg). */
  falseShare: number;
  /**
   * An edge needs so many times the replies that chance gives: both kinds of surrogates are blind to common causes that come and go within a cell, and
   * with enough calls the smallest such thing would be significant.
   */
  leastRatio: number;
  /**
   * The regression confirms an edge where the lower end of its rate ratio is above this. In simulated chains (a to b to c, no call missed) and bursts the pair
   * that does not exchange calls keeps a ratio of 1.1 to 1.5, true edges 1.8 to 17; common practice knows no value.
   */
  leastRateRatio: number;
  /**
   * Share of all calls that may be missing from the table: what replies over other birds' missing calls could feign is no edge. 1 less the recall of
   * attribution; the simulator's usual share is 0.05, and `attribute` misses 0.03 to 0.06 of calls alone and 0.12 to 0.21 of overlapped ones on the presets
   * normal, crowded and two-clocks (README). Between these, and no law.
   */
  missedShare: number;
  /** Width of a bin of the correlograms. */
  binSec: number;
  /** How far the correlograms reach. */
  reachSec: number;
  /** Weight of the ridge penalty of the regression. */
  ridge: number;
  /** Local time minus UTC, for days and hours; 0 where not told. */
  utcOffsetMin: number;
  /** Permutations where not all can be listed. */
  permutations: number;
}

/** The settings of `buildNetwork` that hold where none are given. */
export const DEFAULT_NETWORK_SETTINGS: NetworkSettings = {
  fromSec: 0.05, toSec: 0.5, threshold: 0.95, thresholds: [0.5, 0.8, 0.9, 0.95, 0.99], blockSec: 600, jitterSec: 2, boutGapSec: 0.5, surrogates: 2000,
  draws: 100, seed: 1, sharedGapSec: 0.03, falseShare: 0.05, leastRatio: 1.2, leastRateRatio: 1.5, missedShare: 0.1, binSec: 0.02, reachSec: 1, ridge: 0.5, utcOffsetMin: 0, permutations: 9999,
};

/** Onsets of one bird's calls, ascending. */
export interface Train {
  bird: string;
  onsetSec: Float64Array;
}

/** Calls that a bird may have made, each with its probability. */
export interface WeightedTrain extends Train {
  weight: Float64Array;
}

/** Told how far the work is, in parts of `total`. */
export type OnProgress = (stage: string, done: number, total: number) => void;
