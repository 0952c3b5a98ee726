import type { TableSpec } from '../table/table-specs.js';
import { WARNING_KINDS, type WarningRow } from './warnings.js';

export const warningTable: TableSpec<WarningRow> = {
  name: 'warnings',
  title: 'Warnings',
  description: 'What a live run warned of.',
  columns: [
    { name: 'time_s', key: 'timeSec', type: 'number', decimals: 6, unit: 's', description: "Moment of the warning since the study's start on the reference clock." },
    { name: 'track', key: 'track', type: 'string', description: 'Track, named by its wearer; for no-clock the recorder.' },
    { name: 'kind', key: 'kind', type: 'string', values: WARNING_KINDS, description: 'What the warning is about.' },
    { name: 'text', key: 'text', type: 'string', description: 'The warning in words.' },
  ],
};
