import type { CallRow, ClockRow, SoundRow, TrackHourRow } from '../../schema/rows.js';
import type { VerifiedCall } from '../../score/score-verified.js';
import { parseCsv } from '../../table/csv-table.js';
import { callTable, clockTable, soundTable, trackTable } from '../../table/table-specs.js';
import type { TableSpec } from '../../table/table-specs.js';
import type { LabelEntry, LabelMap } from '../labels.js';
import type { StudyInfo } from '../study-info.js';
import { Refusal } from './save-queue.js';
import type { Batch } from './save-queue.js';
import type { SoundPlace } from './worker-messages.js';

/** Where a review comes from and where its corrections go; the page does not care which. */
export interface ReviewSource {
  info: StudyInfo;
  calls: CallRow[];
  sounds: SoundRow[];
  clock: ClockRow[];
  hours: TrackHourRow[];
  sample: VerifiedCall[];
  entries: LabelEntry[];
  place: SoundPlace;
  kernels: WebAssembly.Module;
  /** Names of all tables that can be shown. */
  tables: string[];
  readTable(name: string): Promise<string>;
  /** Resolves when the changes are safe; rejects with a Refusal where they will never be taken. A batch may be given again after a failure, and counts once. */
  save(window: string, batch: Batch): Promise<void>;
  /** Tells of the entries of all windows, this one's too, in the order in which they count. */
  listen(onEntry: (entry: LabelEntry) => void, onLink: (isUp: boolean) => void): void;
  /** Where corrections go, in words. */
  keeps: string;
  /** Saves tables and corrections where no server does it. */
  saveAll?: (labels: LabelMap) => Promise<string>;
}

/** Answers of the server by which it tells that the changes themselves are wrong or too many. */
const REFUSED = [400, 413];

/** Opens what the review server offers beside this page. */
export async function openServerSource(kernels: WebAssembly.Module): Promise<ReviewSource> {
  const base = new URL('./', location.href).href;
  const ask = async (path: string): Promise<Response> => {
    const response = await fetch(base + path);
    if (!response.ok) throw new Error(`${path}: the server answered ${response.status}; is the review still running?`);
    return response;
  };
  const readTable = async (name: string): Promise<string> => (await ask(`tables/${name}`)).text();
  const [info, tables, stored] = await Promise.all([
    ask('study').then((r) => r.json() as Promise<StudyInfo>), ask('tables').then((r) => r.json() as Promise<{ name: string }[]>),
    ask('labels').then((r) => r.json() as Promise<{ entries: LabelEntry[]; sample: VerifiedCall[] }>),
  ]);
  const names = tables.map((t) => t.name);
  const read = async <Row>(table: TableSpec<Row>): Promise<Row[]> => {
    const name = `${table.name}.csv`;
    return names.includes(name) ? parseCsv(table, await readTable(name), name) : [];
  };
  const [calls, sounds, clock, hours] = await Promise.all([read(callTable), read(soundTable), read(clockTable), read(trackTable)]);
  let last = stored.entries.length;
  return {
    info, calls, sounds, clock, hours, kernels, ...stored, tables: names, readTable, place: { kind: 'server', base }, keeps: 'saved to labels.jsonl in the folder',
    async save(window, { serial, changes }) {
      const body = JSON.stringify({ window, serial, changes });
      const response = await fetch(`${base}labels`, { method: 'POST', headers: { 'content-type': 'application/json' }, body }).catch(() => undefined);
      if (!response) throw new Error('the review does not answer; is it still running?');
      if (response.ok) return;
      const text = await response.text() || `the server answered ${response.status}; was the review started again?`;
      throw REFUSED.includes(response.status) ? new Refusal(text) : new Error(text);
    },
    listen(onEntry, onLink) {
      const events = new EventSource(`${base}events?after=${last}`);
      events.addEventListener('open', () => onLink(true));
      events.addEventListener('error', () => onLink(false));
      events.addEventListener('message', (e: MessageEvent<string>) => {
        const entry = JSON.parse(e.data) as LabelEntry;
        if (entry.n <= last) return;
        last = entry.n;
        onEntry(entry);
      });
    },
  };
}
