import type { CheckReport, TrackCheck } from './check-study.js';
import type { Timeline } from './timeline.js';

const LEFT = 130;
const WIDTH = 900;
const ROW = 40;
const BAR = 28;
const TOP = 46;
const LEVEL_RANGE_DB = [-90, 0] as const;

const STYLE = `text{font:12px system-ui,sans-serif;fill:#222}.bar{fill:#dfe7ee;stroke:#9fb3c4;stroke-width:.5}.level{fill:#4a7ba6}
.silence{fill:#7a7a7a}.dropout{fill:#d98c1f}.gap{fill:none;stroke:#c0392b;stroke-width:1.5;stroke-dasharray:3 2}.overlap{fill:#8e44ad}.step{stroke:#c0392b;stroke-width:2}
.grid{stroke:#ccc;stroke-width:.5}.bad{fill:#c0392b;font-weight:600}`;

/**
 * A self-contained SVG of a study in time: one bar per track with its level, gaps, overlaps, silence and dropouts.
 * @param startUtc the study's start, for a scale in UTC; without it the scale counts from the start
 */
export function drawTimeline(timeline: Timeline, report: CheckReport, title: string, startUtc?: string): string {
  const durationSec = Math.max(timeline.durationSec, 1e-6);
  const toX = (sec: number): number => LEFT + (sec / durationSec) * WIDTH;
  const height = TOP + ROW * Math.max(1, report.tracks.length) + 64;
  const rows = report.tracks.map((track, i) => drawTrack(track, timeline, i, toX));
  const parts = [
    `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${LEFT + WIDTH + 30} ${height}" width="${LEFT + WIDTH + 30}" height="${height}" role="img">`,
    `<title>${escapeXml(title)}</title><style>${STYLE}</style><rect width="100%" height="100%" fill="#fff"/>`,
    `<text x="12" y="22" style="font-size:15px;font-weight:600">${escapeXml(title)}</text>`,
    drawScale(durationSec, toX, TOP, TOP + ROW * report.tracks.length, startUtc),
    ...rows,
    drawLegend(height - 14),
    '</svg>\n',
  ];
  return parts.join('\n');
}

function drawTrack(track: TrackCheck, timeline: Timeline, index: number, toX: (sec: number) => number): string {
  const y = TOP + ROW * index + (ROW - BAR) / 2;
  const segments = timeline.tracks[index].segments;
  const rate = timeline.sampleRateHz;
  const box = (css: string, startSec: number, durationSec: number, top = y, high = BAR, label = ''): string => {
    const width = Math.max(0.75, toX(startSec + durationSec) - toX(startSec));
    return `<rect class="${css}" x="${n(toX(startSec))}" y="${n(top)}" width="${n(width)}" height="${n(high)}">${label ? `<title>${escapeXml(label)}</title>` : ''}</rect>`;
  };
  const isBad = track.problems.some((p) => p.severity === 'error');
  const parts = [`<g><text class="${isBad ? 'bad' : ''}" x="12" y="${n(y + BAR / 2 + 4)}">${escapeXml(shorten(track.bird, 17))}<title>${escapeXml(`${track.bird}, recorder ${track.recorder}`)}</title></text>`];
  for (const s of segments) parts.push(box('bar', s.startFrame / rate, s.frameCount / rate, y, BAR, s.path));
  parts.push(drawLevels(track, y, toX));
  for (const s of mergeForPicture(track.measures.silences, toX)) parts.push(box('silence', s.startSec, s.durationSec, y + BAR - 5, 5, 'digital silence'));
  for (const s of mergeForPicture(track.measures.dropouts, toX)) parts.push(box('dropout', s.startSec, s.durationSec, y, 5, 'link lost'));
  for (const p of track.problems) {
    if (p.startSec === undefined || p.durationSec === undefined) continue;
    if (p.kind === 'gap' || p.kind === 'unequal') parts.push(box('gap', p.startSec, p.durationSec, y + 4, BAR - 8, p.text));
    if (p.kind === 'overlap') parts.push(box('overlap', p.startSec, p.durationSec, y - 4, 4, p.text));
    if (p.kind === 'clock-step') parts.push(`<line class="step" x1="${n(toX(p.startSec))}" x2="${n(toX(p.startSec))}" y1="${n(y - 5)}" y2="${n(y + BAR + 5)}"><title>${escapeXml(p.text)}</title></line>`);
  }
  return `${parts.join('')}</g>`;
}

function drawLevels(track: TrackCheck, y: number, toX: (sec: number) => number): string {
  const bars = track.levels.map((p) => {
    const share = Math.min(1, Math.max(0, (p.levelDb - LEVEL_RANGE_DB[0]) / (LEVEL_RANGE_DB[1] - LEVEL_RANGE_DB[0])));
    const x = toX(p.startSec);
    const width = Math.max(0.6, toX(p.startSec + p.durationSec) - x);
    return `M${n(x)} ${n(y + BAR)}v${n(-BAR * share)}h${n(width)}V${n(y + BAR)}z`;
  });
  return bars.length > 0 ? `<path class="level" d="${bars.join('')}"/>` : '';
}

/** Stretches nearer than half a pixel are one mark: thousands of dropouts must not make a picture of megabytes. */
function mergeForPicture<T extends { startSec: number; durationSec: number }>(stretches: readonly T[], toX: (sec: number) => number): { startSec: number; durationSec: number }[] {
  const merged: { startSec: number; durationSec: number }[] = [];
  for (const s of stretches) {
    const last = merged[merged.length - 1];
    if (last && toX(s.startSec) - toX(last.startSec + last.durationSec) < 0.5) last.durationSec = Math.max(last.durationSec, s.startSec + s.durationSec - last.startSec);
    else merged.push({ startSec: s.startSec, durationSec: s.durationSec });
  }
  return merged;
}

function drawScale(durationSec: number, toX: (sec: number) => number, top: number, bottom: number, startUtc?: string): string {
  const steps = [0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 172800, 432000, 864000];
  const step = steps.find((s) => durationSec / s <= 10) ?? Math.ceil(durationSec / 864000) * 86400;
  const startMs = startUtc ? Date.parse(startUtc) : 0;
  const parts: string[] = [];
  // With a date the marks stand at whole hours of the clock, not of the study.
  const firstSec = startUtc ? Math.ceil(startMs / 1000 / step) * step - startMs / 1000 : 0;
  for (let t = firstSec; t <= durationSec * (1 + 1e-9); t += step) {
    const x = n(toX(t));
    parts.push(`<line class="grid" x1="${x}" x2="${x}" y1="${top}" y2="${bottom}"/><text x="${x}" y="${bottom + 16}" text-anchor="middle">${startUtc ? formatClock(startMs + t * 1000, step) : formatElapsed(t, step)}</text>`);
  }
  parts.push(`<text x="${LEFT + WIDTH}" y="${bottom + 32}" text-anchor="end">${startUtc ? `UTC, from ${escapeXml(startUtc)}` : "time since the study's start"}</text>`);
  return parts.join('');
}

function drawLegend(y: number): string {
  const items: [string, string][] = [['level', 'level (-90 to 0 dB)'], ['silence', 'digital silence'], ['dropout', 'link lost'], ['overlap', 'overlap of files']];
  const boxes = items.map(([css, text], i) => `<rect class="${css}" x="${LEFT + i * 150}" y="${y - 9}" width="12" height="10"/><text x="${LEFT + i * 150 + 17}" y="${y}">${text}</text>`);
  const x = LEFT + items.length * 150;
  return `${boxes.join('')}<rect class="gap" x="${x}" y="${y - 9}" width="12" height="10"/><text x="${x + 17}" y="${y}">gap</text><line class="step" x1="${x + 66}" x2="${x + 66}" y1="${y - 10}" y2="${y + 2}"/><text x="${x + 74}" y="${y}">clock step</text>`;
}

function formatElapsed(sec: number, step: number): string {
  if (step < 60) return `${Math.round(sec * 10) / 10} s`;
  const minutes = Math.round(sec / 60);
  return `${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, '0')} h`;
}

function formatClock(ms: number, step: number): string {
  const iso = new Date(Math.round(ms)).toISOString();
  return step >= 86400 ? iso.slice(5, 10) : step >= 60 ? iso.slice(11, 16) : step >= 1 ? iso.slice(11, 19) : iso.slice(17, 21);
}

function shorten(text: string, most: number): string {
  return text.length > most ? `${text.slice(0, most - 1)}…` : text;
}

function n(value: number): string {
  return String(Math.round(value * 100) / 100);
}

function escapeXml(text: string): string {
  // Control characters are not allowed in XML 1.0, not even escaped.
  return text.replace(/[\u0000-\u0008\u000b\u000c\u000e-\u001f\ufffe\uffff]/g, '?').replaceAll('&', '&amp;').replaceAll('<', '&lt;').replaceAll('>', '&gt;').replaceAll('"', '&quot;');
}
