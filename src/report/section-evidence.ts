import { listBirds } from './bird-order.js';
import { dataLink, figure, paragraph, table } from './page.js';
import type { Section } from './page.js';
import type { EvidencePoint, ReportInput } from './report-input.js';
import { createScale, drawBottomAxis, drawLeftAxis, roundOut } from './scale.js';
import type { Scale } from './scale.js';
import { median } from './section-calls.js';
import { summariseTracks } from './section-links.js';
import { element, fittedLabel, label, line, pathThrough, picture, tip } from './svg.js';
import { shorten, showCount, showNumber, showPercent } from './text.js';

/** Metres per second at 20 degrees Celsius (ISO 9613-1 reference value 343.2), and a mouth 3 cm from the microphone (common practice, no source). */
const SOUND_SPEED = 343.2;
const MOUTH_M = 0.03;

/** Why the caller is the caller: its own track is louder and earlier, once the gains are known. */
export function writeEvidence(input: ReportInput): Section | undefined {
  const gains = drawGains(input);
  if (!gains && !input.evidence.length) return undefined;
  const parts: string[] = [];
  if (input.evidence.length) parts.push(describe(input.evidence), `<div class="pair">${drawPanels(input.evidence)}</div>`, tabulatePairs(input));
  if (gains) parts.push(figure(gains, 'Receiver gains.', 'Found without calibration: how much quieter bird A is on B\'s track than on its own, and B on A\'s, differ by twice the difference of the two gains. Relative to the mean of all receivers.'));
  return { id: 'evidence', title: 'Levels and lags', body: parts.join('') };
}

function describe(points: readonly EvidencePoint[]): string {
  const share = (test: (p: EvidencePoint) => boolean): string => showPercent(points.filter(test).length / points.length);
  const calls = new Set(points.map((p) => p.callId)).size;
  return paragraph(`${showCount(calls, 'sure call')} that overlap no other were looked up on every other track that plainly hears them: ${showCount(points.length, 'pair')} of tracks. `
    + `The caller's own track is the louder one in ${share((p) => p.rawLeadDb > 0)} of them as recorded, and in ${share((p) => p.leadDb > 0)} after the receivers' gains are taken out; `
    + `it hears the call first in ${share((p) => p.lagMs > 0)}. Both are measured anew from the sound for this report and are a witness to the table, not a part of it.`);
}

function drawPanels(points: readonly EvidencePoint[]): string {
  const levels = points.flatMap((p) => [p.rawLeadDb, p.leadDb]);
  const [low, high] = roundOut(Math.min(-10, ...levels), Math.max(30, ...levels));
  const lags = points.map((p) => p.lagMs);
  const [left, right] = roundOut(Math.min(-1, ...lags), Math.max(6, ...lags));
  const scales = { x: createScale(left, right, 52, 510), y: createScale(low, high, 300, 26) };
  const data = dataLink('levels-and-lags.csv', ['call_id', 'bird', 'track', 'lag_ms', 'lead_raw_db', 'lead_db'],
    points.map((p) => [p.callId, p.bird, p.track, p.lagMs.toFixed(3), p.rawLeadDb.toFixed(2), p.leadDb.toFixed(2)]));
  return figure(drawPanel(points, scales, (p) => p.rawLeadDb, 'as recorded'), 'As recorded.', 'Each point is one call on one other track. Unequal receivers spread the points; a point at lag 0 is breakthrough, electrical and without delay.')
    + figure(drawPanel(points, scales, (p) => p.leadDb, 'gains taken out'), 'Gains taken out.',
      'The dashed line is what free air would do to a call made 3 cm from the tag. Echoes and walls lift the far tracks, so points lie below it; the more they rise with lag, the better distance explains them.', data);
}

function drawPanel(points: readonly EvidencePoint[], { x, y }: { x: Scale; y: Scale }, read: (p: EvidencePoint) => number, name: string): string {
  const dots = points.map((p) => element('circle', { class: 'dot', cx: x(p.lagMs), cy: y(read(p)), r: 3 },
    tip(`call ${p.callId} of ${p.bird} on the track of ${p.track}: ${showNumber(p.lagMs, 2)} ms later, ${showNumber(read(p), 1)} dB quieter`)));
  const curve: [number, number][] = [];
  for (let ms = 0; ms <= x.high; ms += 0.05) {
    const db = 20 * Math.log10(1 + (SOUND_SPEED * ms) / 1000 / MOUTH_M);
    if (db <= y.high) curve.push([x(ms), y(db)]);
  }
  return picture(520, 345, `Level lead against lag, ${name}: ${points.length} points`,
    drawBottomAxis(x, 300, { title: 'arrival after the own track, ms', gridTo: 26, ticks: 8 }), drawLeftAxis(y, 52, { title: 'own track louder by, dB', gridTo: 510 }),
    line(x(0), 26, x(0), 300, 'zero'), line(52, y(0), 510, y(0), 'zero'), pathThrough(curve, 'free'), ...dots, label(name, { class: 'name halo', x: 504, y: 292, 'text-anchor': 'end' }));
}

const MOST_MATRIX = 12;

function tabulatePairs(input: ReportInput): string {
  const birds = listBirds(input).filter((b) => input.evidence.some((p) => p.bird === b || p.track === b));
  if (birds.length > MOST_MATRIX) return '';
  const rows = birds.map((bird) => [bird, ...birds.map((track) => {
    const pair = input.evidence.filter((p) => p.bird === bird && p.track === track);
    if (bird === track) return '·';
    return pair.length ? `${showNumber(median(pair.map((p) => p.leadDb)), 1)} dB\n${showNumber(median(pair.map((p) => p.lagMs)), 2)} ms (${pair.length})` : '–';
  })]);
  return table(['caller, heard by', ...birds], rows, { caption: 'Median lead of the caller\'s own track after the gains are taken out, median lag, and the number of calls. – is not heard plainly.', css: 'lines' });
}

function drawGains(input: ReportInput): string {
  const tracks = summariseTracks(input).filter((t) => Number.isFinite(t.gainDb));
  if (!tracks.length) return '';
  const [low, high] = roundOut(Math.min(-2, ...tracks.map((t) => t.gainDb)), Math.max(2, ...tracks.map((t) => t.gainDb)));
  const x = createScale(low, high, 130, 560);
  const bottom = 12 + 24 * tracks.length;
  const rows = tracks.map((t, i) => {
    const y = 22 + 24 * i;
    return fittedLabel(shorten(t.track, 16), 118, { class: 'name', x: 120, y: y + 4, 'text-anchor': 'end' }) + line(x(0), y, x(t.gainDb), y, 'range')
      + element('circle', { class: 'dot-full', cx: x(t.gainDb), cy: y, r: 5 }, tip(`${t.track}: ${showNumber(t.gainDb, 2)} dB`)) + label(`${showNumber(t.gainDb, 1)} dB`, { class: 'num', x: 576, y: y + 4 });
  });
  return picture(650, bottom + 44, `Receiver gains: ${tracks.map((t) => `${t.track} ${showNumber(t.gainDb, 1)} dB`).join(', ')}`,
    drawBottomAxis(x, bottom, { title: 'gain against the mean, dB', gridTo: 8 }), line(x(0), 8, x(0), bottom, 'zero'), ...rows);
}
