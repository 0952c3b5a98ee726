import { createHash } from 'node:crypto';
import { parquetMetadata } from 'hyparquet';
import { describe, expect, it } from 'vitest';
import type { CallRow, SoundRow } from '../../src/schema/rows.js';
import { formatCsv, parseCsv } from '../../src/table/csv-table.js';
import { formatDataPackage } from '../../src/table/data-package.js';
import { formatParquet, ParquetStream, parseParquet } from '../../src/table/parquet-table.js';
import { allTables, callTable, clockTable, soundTable, trackTable } from '../../src/table/table-specs.js';
import { formatUtc } from '../../src/table/utc-time.js';

const call = (more: Partial<CallRow> = {}): CallRow => ({
  callId: 0, bird: 'red', onsetSec: 5.41447, offsetSec: 5.60025, onsetUtc: '', probability: 0.98765, track: 'red', levelDb: -20.005, snrDb: 31.2,
  peakHz: 3456.78, overlaps: 1, runnerUp: 'none', runnerUpProbability: 0.01, ...more,
});

describe('CSV tables', () => {
  it('has the agreed columns in the agreed order', () => {
    const header = (t: (typeof allTables)[number]): string => t.columns.map((c) => c.name).join(',');
    expect(header(callTable)).toBe('call_id,bird,onset_s,offset_s,onset_utc,probability,track,level_db,snr_db,peak_hz,overlaps,runner_up,runner_up_probability');
    expect(header(soundTable)).toBe('kind,track,onset_s,offset_s,level_db,source');
    expect(header(clockTable)).toBe('recorder,t_ref_s,offset_s,ppm,uncertainty_s');
    expect(header(trackTable)).toBe('track,recorder,start_s,usable_s,noise_floor_db,gain_db,lost_share');
  });

  it('writes fixed decimals, quotes after RFC 4180 and no minus zero', () => {
    const row = call({ bird: 'a,"b"\n', levelDb: -0.001, runnerUp: '', runnerUpProbability: NaN, onsetUtc: '2024-05-01T06:00:05.414470Z' });
    expect(formatCsv(callTable, [row]).split('\n').slice(1).join('\n'))
      .toBe('0,"a,""b""\n",5.414470,5.600250,2024-05-01T06:00:05.414470Z,0.9877,red,0.00,31.20,3456.8,1,,\n');
  });

  it('comes back to the precision of its decimals', () => {
    const rows = [call(), call({ callId: 1, bird: 'Blau, "2"', onsetSec: 1e6 + 1 / 3, offsetSec: 1e6 + 2 / 3, peakHz: NaN })];
    const back = parseCsv(callTable, formatCsv(callTable, rows), 'calls.csv');
    expect(back[1]).toMatchObject({ callId: 1, bird: 'Blau, "2"', onsetSec: 1000000.333333, peakHz: NaN, probability: 0.9877 });
    expect(formatCsv(callTable, back)).toBe(formatCsv(callTable, rows));
  });

  it.each<[string, string, string[]]>([
    ['x', 'quiet', ['row 2 column kind', 'got "quiet"', 'one of body, dropout']],
    ['1,5', 'body,red,0.1,0.2,0.1,9,x', ['row 2', 'wrong number of fields', 'got 7']],
    ['word', 'body,red,soon,0.2,-3,', ['row 2 column onset_s', 'got "soon"', 'decimal point']],
  ])('names row and column of a wrong value (%s)', (_, line, parts) => {
    const text = `kind,track,onset_s,offset_s,level_db,source\n${line.includes(',') ? line : `${line},red,0.1,0.2,-3,`}\n`;
    for (const part of parts) expect(() => parseCsv(soundTable, text, 's.csv')).toThrow(part);
  });

  it('names a missing column', () => {
    expect(() => parseCsv(soundTable, 'kind,track\n', 's.csv')).toThrow('column onset_s is missing');
  });
});

describe('Parquet tables', () => {
  const rows: SoundRow[] = Array.from({ length: 2500 }, (_, i) => ({ kind: i % 3 ? 'body' : 'breakthrough', track: `b${i % 8}`, onsetSec: i / 7, offsetSec: i / 7 + 0.1, levelDb: -i / 100, source: i % 3 ? '' : 'b1' }));

  it('is the same bytes however its rows are divided, in groups of 1000 and then 20000 rows', async () => {
    const many = Array.from({ length: 21_500 }, (_, i) => rows[i % rows.length]), whole = formatParquet(soundTable, many);
    for (const step of [1, 999, 1000, 1001, 20_999]) {
      const stream = new ParquetStream(soundTable), pieces: Uint8Array[] = [];
      for (let n = 0; n < many.length; n += step) pieces.push(stream.add(many.slice(n, n + step)), stream.add([]));
      pieces.push(stream.finish());
      expect(Buffer.concat(pieces).equals(whole), `${step}`).toBe(true);
    }
    const { row_groups: groups } = parquetMetadata(whole.slice().buffer);
    expect(groups.map((g) => Number(g.num_rows))).toEqual([1000, 20_000, 500]);
    expect(formatCsv(soundTable, await parseParquet(soundTable, whole))).toBe(formatCsv(soundTable, many));
  });

  it('holds the same values as the CSV', async () => {
    const back = await parseParquet(soundTable, formatParquet(soundTable, rows));
    expect(back).toHaveLength(rows.length);
    expect(formatCsv(soundTable, back)).toBe(formatCsv(soundTable, rows));
    const calls = [call({ runnerUp: '', runnerUpProbability: NaN }), call({ callId: 7, levelDb: NaN })];
    expect(await parseParquet(callTable, formatParquet(callTable, calls))).toEqual(parseCsv(callTable, formatCsv(callTable, calls), 'c'));
  });

  it('is the same bytes each time, and another table is not', () => {
    const hash = (r: SoundRow[]): string => createHash('sha256').update(formatParquet(soundTable, r)).digest('hex');
    expect(hash(rows)).toBe(hash(structuredClone(rows)));
    expect(hash(rows.slice(1))).not.toBe(hash(rows));
  });

  it('can be empty', async () => {
    for (const table of allTables) expect(await parseParquet(table as typeof soundTable, formatParquet(table as typeof soundTable, []))).toEqual([]);
  });

  it('starts and ends with the magic of the format (Apache Parquet format, file layout: PAR1)', () => {
    const bytes = formatParquet(soundTable, rows);
    expect(String.fromCharCode(...bytes.slice(0, 4), ...bytes.slice(-4))).toBe('PAR1PAR1');
  });
});

describe('table description', () => {
  it('describes every column with meaning, type and unit', () => {
    const content = JSON.parse(formatDataPackage('Bird room 2 (May)', allTables));
    expect(content.name).toBe('bird-room-2-may');
    expect(content.resources.map((r: { path: string }) => r.path)).toEqual(['calls.csv', 'sounds.csv', 'clock.csv', 'tracks.csv']);
    for (const resource of content.resources) {
      const names = resource.schema.fields.map((f: { name: string }) => f.name);
      for (const field of resource.schema.fields) {
        expect(field.description.length).toBeGreaterThan(10);
        expect(['string', 'integer', 'number', 'datetime']).toContain(field.type);
        const suffix = /_(s|db|hz)$/.exec(field.name)?.[1];
        if (suffix) expect(field.unit).toBe({ s: 's', db: 'dB', hz: 'Hz' }[suffix]);
      }
      for (const key of resource.schema.primaryKey ?? []) expect(names).toContain(key);
    }
  });
});

describe('formatUtc', () => {
  it.each<[string | undefined, number, string]>([
    ['2024-05-01T06:00:00Z', 5.41447, '2024-05-01T06:00:05.414470Z'],
    ['2024-05-01T06:00:00.75Z', 0.2500004, '2024-05-01T06:00:01.000000Z'],
    ['2024-02-28T23:59:59Z', 86401, '2024-03-01T00:00:00.000000Z'],
    [undefined, 1, ''],
    ['2024-05-01T06:00:00Z', NaN, ''],
  ])('%s + %d s', (start, elapsed, text) => expect(formatUtc(start, elapsed)).toBe(text));
});
