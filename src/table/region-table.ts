import type { TableSpec } from './table-specs.js';

/** A call inside a clip: a region of interest of a media item. */
export interface RegionRow {
  identifier: string;
  isROIOf: string;
  startTimeSec: number;
  endTimeSec: number;
  startTimestamp: string;
  endTimestamp: string;
  freqLowHz: number;
  freqHighHz: number;
  mediaDurationSec: number;
  organismName: string;
  probability: number;
  callId: number;
  onsetSec: number;
}

const SECONDS = { type: 'number', decimals: 6, unit: 's', minimum: 0 } as const;
const HERTZ = { type: 'number', decimals: 1, unit: 'Hz', minimum: 0, isOptional: true } as const;
const TERM = 'http://rs.tdwg.org/ac/terms/';

/**
 * Terms of Audiovisual Core (Biodiversity Information Standards, TDWG, list of terms of 2026-02-24), regions of interest, with Dublin Core's
 * identifier and Darwin Core's organismName; call_id, onset_s and probability are the table's own.
 */
export const regionTable: TableSpec<RegionRow> = {
  name: 'regions',
  title: 'Calls in clips',
  description: 'Every call cut out, as a region of interest of its clip. Times are half-open: the start belongs to the call, the end does not.',
  primaryKey: ['identifier'],
  columns: [
    { name: 'identifier', key: 'identifier', type: 'string', description: 'Name of the region (http://purl.org/dc/terms/identifier).' },
    { name: 'isROIOf', key: 'isROIOf', type: 'string', description: `Clip that holds it, relative to this table (${TERM}isROIOf).` },
    { name: 'startTime', key: 'startTimeSec', ...SECONDS, description: `Start from the clip's start (${TERM}startTime).` },
    { name: 'endTime', key: 'endTimeSec', ...SECONDS, description: `End from the clip's start (${TERM}endTime).` },
    { name: 'startTimestamp', key: 'startTimestamp', type: 'datetime', isOptional: true, description: `Start in UTC; empty where the study's start is unknown (${TERM}startTimestamp).` },
    { name: 'endTimestamp', key: 'endTimestamp', type: 'datetime', isOptional: true, description: `End in UTC (${TERM}endTimestamp).` },
    { name: 'freqLow', key: 'freqLowHz', ...HERTZ, description: `Lowest frequency of the call, 20 dB below its strongest part; empty where the call is too faint to tell (${TERM}freqLow).` },
    { name: 'freqHigh', key: 'freqHighHz', ...HERTZ, description: `Highest frequency of the call, likewise (${TERM}freqHigh).` },
    { name: 'mediaDuration', key: 'mediaDurationSec', ...SECONDS, description: `Length of the clip (${TERM}mediaDuration).` },
    { name: 'organismName', key: 'organismName', type: 'string', description: "Bird; 'none' for a caller without a tag (http://rs.tdwg.org/dwc/terms/organismName)." },
    { name: 'probability', key: 'probability', type: 'number', decimals: 4, minimum: 0, maximum: 1, description: 'Probability that this is a real call of that bird.' },
    { name: 'call_id', key: 'callId', type: 'integer', minimum: 0, description: 'Number of the call in calls.csv.' },
    { name: 'onset_s', key: 'onsetSec', ...SECONDS, description: "Onset in seconds since the study's start on the clock of the first recorder." },
  ],
};
