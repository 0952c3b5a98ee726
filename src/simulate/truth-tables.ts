import type { SimulatedScene } from './simulate-scene.js';

/** Text of the tables that go with a simulated recording: RFC 4180 fields, LF line ends. */
export interface TruthTables { truth: string; events: string; clock: string; channels: string }

/**
 * The truth of a simulated scene as CSV: calls, all events, clocks, and which file is whose.
 * @param fileOf file name of a bird's track
 */
export function formatTruthTables(scene: SimulatedScene, fileOf: (bird: string) => string): TruthTables {
  const flag = (b: boolean): string => (b ? '1' : '0');
  const sec = (v: number): string => v.toFixed(6), db = (v: number): string => v.toFixed(2);
  return {
    truth: toCsv(['id', 'bird', 'onset_s', 'offset_s', 'level_db', 'own_dbfs', 'snr_db', 'snr_best_db', 'overlap', 'near_m', 'lost', 'clipped', 'untagged_id', 'reply_to', 'call'],
      scene.truth.map((r) => [String(r.id), r.bird, sec(r.onsetSec), sec(r.offsetSec), db(r.levelDb), db(r.ownDbfs), db(r.snrDb), db(r.snrBestDb), flag(r.overlap), Number.isFinite(r.nearM) ? r.nearM.toFixed(3) : '', flag(r.lost), flag(r.clipped), r.untaggedId, r.replyTo, r.call])),
    events: toCsv(['kind', 'channel', 'onset_s', 'offset_s', 'db', 'source'], scene.events.map((e) => [e.kind, e.channel, sec(e.onsetSec), sec(e.offsetSec), db(e.levelDb), e.source])),
    clock: toCsv(['recorder', 't_ref_s', 'offset_s', 'ppm'], scene.clock.map((c) => [c.recorder, sec(c.tRefSec), c.offsetSec.toFixed(9), c.ppm.toFixed(4)])),
    channels: toCsv(['file', 'bird', 'recorder'], scene.tracks.map((t) => [fileOf(t.bird), t.bird, t.recorder])),
  };
}

function toCsv(header: string[], rows: string[][]): string {
  return [header, ...rows].map((row) => row.map(quoteField).join(',')).join('\n') + '\n';
}

function quoteField(text: string): string {
  return /[",\r\n]/.test(text) ? `"${text.replace(/"/g, '""')}"` : text;
}
