import type { CallRow, ClockRow, SoundRow, TrackHourRow } from '../schema/rows.js';

/** One column: its name in files, its meaning, unit and how it is written. */
export interface ColumnSpec<Row> {
  /** Name in CSV and Parquet. */
  name: string;
  key: keyof Row & string;
  type: 'string' | 'integer' | 'number' | 'datetime';
  /** Decimals of a number as written. */
  decimals?: number;
  /** Unit symbol (SI, dB relative to full scale where said), absent for names and counts. */
  unit?: string;
  description: string;
  minimum?: number;
  maximum?: number;
  /** The only values that may stand here. */
  values?: readonly string[];
  /** False where every row has a value. */
  isOptional?: boolean;
}

export interface TableSpec<Row> {
  name: string;
  title: string;
  description: string;
  columns: readonly ColumnSpec<Row>[];
  primaryKey?: readonly string[];
}

const SECONDS = { type: 'number', decimals: 6, unit: 's' } as const;
const DECIBEL = { type: 'number', decimals: 2, unit: 'dB' } as const;
const SHARE = { type: 'number', decimals: 4, minimum: 0, maximum: 1 } as const;
const REFERENCE = "in seconds since the study's start on the clock of the first recorder";

export const callTable: TableSpec<CallRow> = {
  name: 'calls',
  title: 'Calls',
  description: 'Every call found, with the bird that made it.',
  primaryKey: ['call_id'],
  columns: [
    { name: 'call_id', key: 'callId', type: 'integer', minimum: 0, description: 'Number of the call in this table, in order of onset.' },
    { name: 'bird', key: 'bird', type: 'string', description: "Bird that made the call; 'none' for a caller without a tag." },
    { name: 'onset_s', key: 'onsetSec', ...SECONDS, description: `Onset ${REFERENCE}.` },
    { name: 'offset_s', key: 'offsetSec', ...SECONDS, description: `Offset ${REFERENCE}.` },
    { name: 'onset_utc', key: 'onsetUtc', type: 'datetime', isOptional: true, description: "Onset as an RFC 3339 time in UTC; empty where the study's start is unknown." },
    { name: 'probability', key: 'probability', ...SHARE, description: 'Probability that this row is a real call of that bird.' },
    { name: 'track', key: 'track', type: 'string', description: 'Track on which the call was measured, named by its wearer.' },
    { name: 'level_db', key: 'levelDb', ...DECIBEL, isOptional: true, description: 'Level of the call on that track relative to full scale, root mean square within the band of the calls.' },
    { name: 'snr_db', key: 'snrDb', ...DECIBEL, isOptional: true, description: 'Level above the noise floor of that track.' },
    { name: 'peak_hz', key: 'peakHz', type: 'number', decimals: 1, unit: 'Hz', minimum: 0, isOptional: true, description: 'Frequency of the strongest part of the call.' },
    { name: 'overlaps', key: 'overlaps', type: 'integer', minimum: 0, description: 'Number of other calls in this table that overlap this one.' },
    { name: 'runner_up', key: 'runnerUp', type: 'string', isOptional: true, description: "The next most probable caller, 'none' for one without a tag; empty where there is no other." },
    { name: 'runner_up_probability', key: 'runnerUpProbability', ...SHARE, isOptional: true, description: 'Probability of the runner-up.' },
  ],
};

export const soundTable: TableSpec<SoundRow> = {
  name: 'sounds',
  title: 'Other sounds',
  description: 'What was heard and is no call of a known caller.',
  columns: [
    { name: 'kind', key: 'kind', type: 'string', values: ['body', 'dropout', 'breakthrough', 'room', 'unsure'], description: 'body: wing, preening or handling noise of the wearer; dropout: the radio link was lost; breakthrough: another carrier leaks in; room: a sound of no bird; unsure: probably a call of a tagged bird, of none with a probability of one half.' },
    { name: 'track', key: 'track', type: 'string', description: 'Track on which it was heard; for unsure, the likeliest bird.' },
    { name: 'onset_s', key: 'onsetSec', ...SECONDS, description: `Onset ${REFERENCE}.` },
    { name: 'offset_s', key: 'offsetSec', ...SECONDS, description: `Offset ${REFERENCE}.` },
    { name: 'level_db', key: 'levelDb', ...DECIBEL, isOptional: true, description: 'Level on that track relative to full scale, root mean square within the band of the calls.' },
    { name: 'source', key: 'source', type: 'string', isOptional: true, description: 'For breakthrough, the track it comes from; for unsure, the second likeliest bird.' },
  ],
};

export const clockTable: TableSpec<ClockRow> = {
  name: 'clock',
  title: 'Clocks',
  description: 'Clock of every recorder but the first: time of its files = reference time + offset.',
  primaryKey: ['recorder', 't_ref_s'],
  columns: [
    { name: 'recorder', key: 'recorder', type: 'string', description: 'Recorder whose clock is described.' },
    { name: 't_ref_s', key: 'tRefSec', ...SECONDS, description: `Moment ${REFERENCE}.` },
    { name: 'offset_s', key: 'offsetSec', ...SECONDS, description: "Time of this recorder's files minus reference time." },
    { name: 'ppm', key: 'ppm', type: 'number', decimals: 4, unit: 'ppm', isOptional: true, description: 'Rate of this clock against the reference at that moment; positive = it counts faster.' },
    { name: 'uncertainty_s', key: 'uncertaintySec', type: 'number', decimals: 6, unit: 's', minimum: 0, isOptional: true, description: 'Standard uncertainty of offset_s.' },
  ],
};

export const trackTable: TableSpec<TrackHourRow> = {
  name: 'tracks',
  title: 'Tracks by the hour',
  description: 'What every track was worth in every hour of the study.',
  primaryKey: ['track', 'start_s'],
  columns: [
    { name: 'track', key: 'track', type: 'string', description: 'Track, named by its wearer.' },
    { name: 'recorder', key: 'recorder', type: 'string', description: 'Recorder whose clock the track follows.' },
    { name: 'start_s', key: 'startSec', ...SECONDS, description: `Start of the hour ${REFERENCE}.` },
    { name: 'usable_s', key: 'usableSec', ...SECONDS, minimum: 0, description: 'Seconds of that hour that can be trusted; every rate is per usable time.' },
    { name: 'noise_floor_db', key: 'noiseFloorDb', ...DECIBEL, isOptional: true, description: 'Noise floor relative to full scale within the band of the calls.' },
    { name: 'gain_db', key: 'gainDb', ...DECIBEL, isOptional: true, description: 'Gain of the receiver against the mean of all, estimated from crosstalk.' },
    { name: 'lost_share', key: 'lostShare', ...SHARE, isOptional: true, description: 'Share of the hour that was lost (no file, dropout, damaged).' },
  ],
};

/** All tables that `attribute` writes. */
export const allTables = [callTable, soundTable, clockTable, trackTable] as const;
