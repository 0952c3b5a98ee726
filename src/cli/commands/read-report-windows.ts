import { areSameWindows } from '../../analysis/exclusions/same-windows.js';
import type { ExclusionRow } from '../../schema/analysis-rows.js';
import type { CommandIo } from '../io.js';

/** What the record of rates or network says of the time it left out. */
export interface WindowsRecord {
  /** Missing where an earlier version wrote the record, or where there is none. */
  windows?: readonly { bird: string; startSec: number; endSec: number }[];
  /** The user asked for other windows than those of the folder. */
  isAsked?: boolean;
  isOlder: boolean;
}

/**
 * How a table stands to excluded.csv: 'same' = it left out what is listed there; 'own' = something else, as the user asked; 'stale' = something else,
 * because excluded.csv has come or changed since.
 */
export function compareWithExcluded(record: WindowsRecord, excluded: readonly ExclusionRow[]): 'same' | 'own' | 'stale' {
  if (record.windows ? areSameWindows(record.windows, excluded) : !record.isOlder) return 'same';
  return record.isAsked ? 'own' : 'stale';
}

/** Windows of birds that no table names are no windows of this study: they are dropped, and that is said. */
export function dropUnknownBirds(io: CommandIo, rows: readonly ExclusionRow[], known: readonly string[]): ExclusionRow[] {
  const strangers = [...new Set(rows.map((r) => r.bird))].filter((bird) => bird !== '' && !known.includes(bird));
  if (strangers.length) io.note(`volary report: excluded.csv names ${strangers.map((s) => JSON.stringify(s)).join(', ')}, in no table; expected ${known.join(', ')}; windows of ${strangers.length > 1 ? 'these are' : 'this bird are'} not shown: correct the name`);
  return rows.filter((r) => !strangers.includes(r.bird));
}

/** The windows of a record, where all of them are whole. */
export function readWindows(value: unknown): WindowsRecord['windows'] {
  if (!Array.isArray(value)) return undefined;
  const rows = value as { bird?: unknown; startSec?: unknown; endSec?: unknown }[];
  const isWhole = rows.every((r) => typeof r?.bird === 'string' && typeof r.startSec === 'number' && typeof r.endSec === 'number');
  return isWhole ? rows as WindowsRecord['windows'] : undefined;
}
