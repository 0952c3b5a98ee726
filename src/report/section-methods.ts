import { describeAnalyses } from './describe-analyses.js';
import { findDuration, listBirds, NO_TAG } from './bird-order.js';
import { paragraph, table } from './page.js';
import type { Section } from './page.js';
import type { ReportInput } from './report-input.js';
import { median } from './section-calls.js';
import { summariseTracks } from './section-links.js';
import { sumUsable } from './section-summary.js';
import { escapeHtml, joinNames, showCount, showDuration, showNumber, showPercent } from './text.js';

/** A paragraph for a paper with the study's own numbers filled in. */
export function writeMethods(input: ReportInput): Section {
  const sentences = [describeRecording(input), describeAttribution(input), describeClocks(input), describeResult(input), describeAccuracy(input), ...describeAnalyses(input)].filter((s) => s !== '');
  const body = `<div class="methods"><p>${escapeHtml(sentences.join(' '))}</p></div>`
    + paragraph('A draft with this study\'s numbers filled in: add the species, tags, receivers, room, permits and handling, which the recordings cannot tell.', 'note')
    + paragraph(`How to cite: Volary, version ${input.version} (computer program)${input.run.kernelHash ? `, kernels ${input.run.kernelHash}` : ''}. Give the settings below, or this file, with the paper.`, 'note');
  return { id: 'methods', title: 'Methods', body };
}

function describeRecording(input: ReportInput): string {
  const birds = listBirds(input);
  const { usableSec, possibleSec } = sumUsable(input);
  const settings = (input.run.settings ?? {}) as Record<string, unknown>;
  const rate = typeof settings.sampleRateHz === 'number' ? ` at ${showNumber(settings.sampleRateHz, 0)} Hz` : '';
  const recorders = input.study.recorders.length > 1 ? ` on ${input.study.recorders.length} recorders` : '';
  return `${showCount(birds.length, 'bird')} carried a microphone transmitter each, received on a track of its own${recorders}${rate} for ${showDuration(findDuration(input))}; `
    + `${showDuration(usableSec)} of track time (${showPercent(possibleSec > 0 ? Math.min(1, usableSec / possibleSec) : NaN)}) could be used.`;
}

function describeAttribution(input: ReportInput): string {
  const gains = summariseTracks(input).map((t) => t.gainDb).filter((g) => Number.isFinite(g));
  const spread = gains.length > 1 ? ` (they differed by up to ${showNumber(Math.max(...gains) - Math.min(...gains), 1)} dB)` : '';
  const band = readBand(input);
  return `Calls were searched for${band ? ` between ${showNumber(band[0] / 1000, 2)} and ${showNumber(band[1] / 1000, 2)} kHz` : ''} and given to their callers with Volary ${input.version}, `
    + `by the level of the caller's own track over all others after the receivers' gains were estimated from crosstalk${spread}, by the lags between tracks, and by spectral features that tell calls from body noise. `
    + `Every call carries a probability.${describeRefit(input)}`;
}

/** Probabilities that somebody's ear has changed are another thing than those of the program alone. */
function describeRefit({ run: { refit } }: ReportInput): string {
  if (!refit) return '';
  const { judged, right, labelFile, threshold, leftOut, errorBefore, errorAfter } = refit;
  const rows = judged === undefined ? ' on rows that were judged' : ` on ${showCount(judged, 'judged row')}${right === undefined ? '' : ` (${right} right)`}`;
  const error = errorBefore === undefined || errorAfter === undefined ? '' : `; in rows that the fit had not seen the calibration error went from ${showNumber(errorBefore, 3)} to ${showNumber(errorAfter, 3)}`;
  const cut = threshold === undefined ? '' : `; ${leftOut === undefined ? 'rows' : showCount(leftOut, 'row')} below ${showNumber(threshold, 2)} were left out`;
  return ` The probabilities are not those of the program alone: they were calibrated anew${rows}${labelFile === undefined ? '' : ` from ${labelFile}`}${error}${cut}.`;
}

/** The band searched, where the record of the run says it. */
export function readBand(input: Pick<ReportInput, 'run'>): [number, number] | undefined {
  const band = ((input.run.settings ?? {}) as Record<string, unknown>).bandHz;
  return Array.isArray(band) && band.length === 2 && band.every((v) => typeof v === 'number' && Number.isFinite(v)) ? [band[0] as number, band[1] as number] : undefined;
}

function describeClocks(input: ReportInput): string {
  const others = [...new Set(input.clock.map((r) => r.recorder))];
  if (!others.length) return '';
  const rates = others.map((o) => showNumber(median(input.clock.filter((r) => r.recorder === o).map((r) => r.ppm)), 1));
  const uncertainty = median(input.clock.map((r) => r.uncertaintySec));
  return `The clock${others.length > 1 ? 's' : ''} of ${joinNames(others)} ran ${joinNames(rates)} parts per million fast against the reference and ${others.length > 1 ? 'were' : 'was'} corrected from crosstalk`
    + `${Number.isFinite(uncertainty) ? ` (median standard uncertainty ${showNumber(1e6 * uncertainty, 0)} µs)` : ''}.`;
}

function describeResult(input: ReportInput): string {
  const free = input.calls.filter((c) => c.bird === NO_TAG).length;
  const overlapped = input.calls.filter((c) => c.overlaps > 0).length;
  if (!input.calls.length) return 'No call was found.';
  return `${showCount(input.calls.length, 'call')} were found, ${free} of them by callers without a tag; ${showPercent(overlapped / input.calls.length)} overlapped another call.`;
}

function describeAccuracy({ score, verified }: ReportInput): string {
  if (score) {
    const f = score.rightBird.f1;
    const p = score.rightBird.precision;
    const r = score.rightBird.recall;
    return `Against ${showCount(score.counts.labels, 'labelled call')}, time and bird were both right with a precision of ${showNumber(p.value, 3)} (95 % interval ${showNumber(p.low, 3)} to ${showNumber(p.high, 3)}), `
      + `a recall of ${showNumber(r.value, 3)} (${showNumber(r.low, 3)} to ${showNumber(r.high, 3)}) and F1 ${showNumber(f.value, 3)} (${showNumber(f.low, 3)} to ${showNumber(f.high, 3)}).`;
  }
  if (verified) return `In a random sample of ${verified.verified} rows verified by ear, ${showPercent(verified.right.value)} were right (95 % interval ${showPercent(verified.right.low)} to ${showPercent(verified.right.high)}).`;
  return 'The accuracy was not measured on labelled calls.';
}

/** What else the record of the run holds. */
export function writeSettings(input: ReportInput): Section {
  const { run, study } = input;
  const rows: [string, string][] = [['program', `Volary ${input.version}`], ['study', study.name], ...flatten('versions', run.versions), ...(run.kernelHash ? [['kernel hash', run.kernelHash] as [string, string]] : []), ...flatten('settings', run.settings), ...flatten('refit', run.refit)];
  const inputs = Array.isArray(run.inputs) ? run.inputs : [];
  const files = inputs.slice(0, 400).map((file, i) => [String(i + 1), describeInput(file)]);
  const rest = inputs.length > files.length ? paragraph(`… and ${inputs.length - files.length} more in run.json.`) : '';
  const list = files.length ? `<details><summary>${escapeHtml(showCount(inputs.length, 'input file'))}</summary>${table(['number', 'file'], files, { css: 'wrap' })}${rest}</details>` : '';
  return { id: 'settings', title: 'Settings', body: `${table(['what', 'value'], rows, { css: 'wrap' })}${list}` };
}

function describeInput(file: unknown): string {
  if (file === null || typeof file !== 'object') return String(file);
  return Object.entries(file).map(([key, value]) => (key === 'path' ? String(value) : `${key} ${typeof value === 'object' ? JSON.stringify(value) : String(value)}`)).join(', ');
}

/** Nested settings as dotted names; lists on one line. */
function flatten(prefix: string, value: unknown): [string, string][] {
  if (value === undefined) return [];
  if (value === null || typeof value !== 'object' || Array.isArray(value)) return [[prefix, Array.isArray(value) ? value.map((v) => (typeof v === 'object' ? JSON.stringify(v) : String(v))).join(', ') : String(value)]];
  return Object.entries(value).flatMap(([key, inner]) => flatten(`${prefix}.${key}`, inner));
}
