import type { CheckReport, TrackCheck } from '../study/check-study.js';
import { formatPercent } from '../study/format-share.js';
import type { Problem } from '../study/timeline.js';
import { formatDuration } from './progress.js';

/** How many problems of one kind on one track are told one by one. */
const MOST_ALIKE = 3;

/** The table and the findings as lines for a person. */
export function describeCheck(report: CheckReport, durationSec: number): string {
  const lines = [...formatColumns(report.tracks.map(describeTrack)), ''];
  const shown = foldAlike(report.problems);
  for (const { severity, text } of shown) lines.push(`${severity === 'note' ? 'note' : severity}: ${text}`);
  if (shown.length > 0) lines.push('');
  lines.push(report.readShare >= 1 ? `read every sample of ${formatDuration(durationSec)}` : `read ${formatPercent(report.readShare)} of ${formatDuration(durationSec)} in blocks spread evenly (--full reads every sample)`);
  const errors = report.problems.filter((p) => p.severity === 'error').length;
  const warnings = report.problems.filter((p) => p.severity === 'warning').length;
  const worth = warnings > 0 ? `, ${warnings} warning${warnings > 1 ? 's' : ''} worth a look` : '';
  lines.push(report.isFit ? `fit to use${worth}` : `not fit to use: ${errors} error${errors > 1 ? 's' : ''}${worth}`);
  return lines.join('\n');
}

/** What `check --json` prints. Levels in dB relative to full scale; null where nothing could be measured. */
export function toCheckJson(report: CheckReport, durationSec: number, sampleRateHz: number): object {
  return {
    fit: report.isFit,
    duration_s: durationSec,
    sample_rate_hz: sampleRateHz,
    read_share: report.readShare,
    tracks: report.tracks.map((t) => ({
      bird: t.bird, recorder: t.recorder, format: t.format, start_s: t.startSec, end_s: t.endSec, sound_s: t.soundSec,
      gaps: t.gapCount, overlaps: t.overlapCount, clock_steps: t.clockStepCount,
      read_s: t.measures.readSec, lost_s: t.measures.lostSec, level_db: t.measures.levelDb, peak_db: t.measures.peakDb,
      noise_floor_db: t.measures.noiseFloorDb, dc_share: t.measures.dcOffset, clipped_runs: t.measures.clippedRuns, clipped_samples: t.measures.clippedSamples,
      silent_s: t.measures.silentSec, longest_silence_s: t.measures.longestSilenceSec, dropouts: t.measures.dropouts.length, dropout_s: t.measures.dropoutSec,
      hum: t.hum ? { mains_hz: t.hum.mainsHz, level_db: t.hum.levelDb, prominence_db: t.hum.prominenceDb } : null,
      steady: t.steady ? { from_hz: t.steady.fromHz, to_hz: t.steady.toHz, above_db: t.steady.aboveDb, noise_share: t.steady.noiseShare, others: t.steady.otherCount } : null,
    })),
    problems: report.problems.map((p) => ({
      severity: p.severity, kind: p.kind, ...(p.bird ? { bird: p.bird } : {}), ...(p.path ? { path: p.path } : {}), text: p.text,
      ...(p.startSec !== undefined ? { start_s: p.startSec } : {}), ...(p.durationSec !== undefined ? { duration_s: p.durationSec } : {}),
    })),
  };
}

const HEADER = ['bird', 'recorder', 'format', 'starts', 'span', 'gaps', 'noise dB', 'level dB', 'peak dB', 'clipped', 'DC %', 'silent s', 'link lost s', 'verdict'];

function describeTrack(t: TrackCheck): string[] {
  const m = t.measures;
  const db = (value: number): string => (Number.isFinite(value) ? value.toFixed(1) : '-');
  const worst = t.problems.some((p) => p.severity === 'error') ? 'not fit' : t.problems.some((p) => p.severity === 'warning') ? 'look' : 'fit';
  return [
    t.bird, t.recorder, t.format, t.startSec === 0 ? '0' : formatDuration(t.startSec), formatDuration(t.endSec - t.startSec), String(t.gapCount),
    db(m.noiseFloorDb), db(m.levelDb), db(m.peakDb), String(m.clippedRuns), Number.isFinite(m.dcOffset) ? describeDc(m.dcOffset) : '-',
    m.silentSec.toFixed(1), m.dropoutSec.toFixed(1), worst,
  ];
}

function describeDc(dcOffset: number): string {
  if (Math.abs(dcOffset) > 1) return dcOffset > 0 ? '>100' : '<-100';
  return (100 * dcOffset).toFixed(2).replace('-0.00', '0.00');
}

function formatColumns(rows: string[][]): string[] {
  const all = [HEADER, ...rows.map((r) => r.map((f) => f.replace(/[\u0000-\u001f\u007f]/g, '?')))];
  const widths = HEADER.map((_, c) => Math.max(...all.map((r) => [...r[c]].length)));
  const isText = (c: number): boolean => c < 3 || c === HEADER.length - 1;
  return all.map((r) => r.map((f, c) => { const pad = ' '.repeat(widths[c] - [...f].length); return isText(c) ? f + pad : pad + f; }).join('  ').trimEnd());
}

/** A study of two weeks may have a hundred gaps on every track: the first few are told, the rest counted. */
function foldAlike(problems: readonly Problem[]): { severity: Problem['severity']; text: string }[] {
  const shown: { severity: Problem['severity']; text: string }[] = [];
  const counts = new Map<string, { severity: Problem['severity']; bird: string; kind: string; count: number }>();
  for (const p of problems) {
    const key = `${p.severity} ${p.kind} ${p.bird}`;
    const group = counts.get(key) ?? { severity: p.severity, bird: p.bird, kind: p.kind, count: 0 };
    counts.set(key, group);
    if (++group.count <= MOST_ALIKE || p.severity === 'error') shown.push({ severity: p.severity, text: p.text });
  }
  for (const g of counts.values()) {
    if (g.count > MOST_ALIKE && g.severity !== 'error') shown.push({ severity: g.severity, text: `${g.bird ? `${JSON.stringify(g.bird)}: ` : ''}${g.count - MOST_ALIKE} more of the kind '${g.kind}' (--json lists all)` });
  }
  return shown;
}
