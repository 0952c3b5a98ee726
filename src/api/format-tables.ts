import type { StudyTables } from '../pipeline/attribute-study.js';
import { formatCsv } from '../table/csv-table.js';
import { formatCsvwMetadata } from '../table/csvw-metadata.js';
import { formatDataPackage } from '../table/data-package.js';
import { formatParquet } from '../table/parquet-table.js';
import { allTables, callTable, clockTable, soundTable, trackTable } from '../table/table-specs.js';

/** Texts of the files that describe a result, by file name. */
export type TableTexts = Record<'calls.csv' | 'sounds.csv' | 'clock.csv' | 'tracks.csv' | 'datapackage.json' | 'csv-metadata.json', string>;

/** The same tables as Parquet, by file name. */
export type TableFiles = Record<'calls.parquet' | 'sounds.parquet' | 'clock.parquet' | 'tracks.parquet', Uint8Array>;

/**
 * The four tables as CSV and the machine-readable description of their columns (Frictionless and W3C), byte for byte as `volary attribute` writes them.
 * @param title title of the data package, the study's name
 * @example const { 'calls.csv': calls } = formatTables(result, result.manifest.name)
 */
export function formatTables(tables: StudyTables, title: string): TableTexts {
  return {
    'calls.csv': formatCsv(callTable, tables.calls), 'sounds.csv': formatCsv(soundTable, tables.sounds), 'clock.csv': formatCsv(clockTable, tables.clock),
    'tracks.csv': formatCsv(trackTable, tables.tracks), 'datapackage.json': formatDataPackage(title, allTables), 'csv-metadata.json': formatCsvwMetadata(title, allTables),
  };
}

/** The four tables as Parquet, byte for byte as `volary attribute` writes them. */
export function formatTablesParquet(tables: StudyTables): TableFiles {
  return {
    'calls.parquet': formatParquet(callTable, tables.calls), 'sounds.parquet': formatParquet(soundTable, tables.sounds),
    'clock.parquet': formatParquet(clockTable, tables.clock), 'tracks.parquet': formatParquet(trackTable, tables.tracks),
  };
}
