import { findDuration, listBirds, NO_TAG } from './bird-order.js';
import type { ReportInput } from './report-input.js';
import { escapeHtml, groupDigits, joinNames, showCount, showDuration, showNumber, showPercent } from './text.js';

/** Title, what was found in two sentences, and the figures that matter. */
export function writeHeader(input: ReportInput): string {
  const { study } = input;
  const start = study.start ? `. The study starts at ${study.start}` : '';
  return `<p class="kicker">Who called when</p><h1>${escapeHtml(study.name)}</h1>
<p class="lead">${escapeHtml(summarise(input) + start)}.</p>${study.note ? `<p class="soft">${escapeHtml(study.note)}</p>` : ''}
<div class="figures">${listFigures(input).map(([value, text]) => `<div><b>${escapeHtml(value)}</b><span>${escapeHtml(text)}</span></div>`).join('')}</div>`;
}

/** Seconds of usable time of all tracks together, and the seconds there could have been. */
export function sumUsable(input: ReportInput): { usableSec: number; possibleSec: number } {
  const usableSec = input.hours.reduce((s, h) => s + h.usableSec, 0);
  return { usableSec, possibleSec: findDuration(input) * new Set(input.hours.map((h) => h.track)).size };
}

/** Expected number of rows that are not what they claim, and its standard deviation, from the probabilities alone. */
export function expectErrors(input: Pick<ReportInput, 'calls'>): { mean: number; sd: number } {
  const mean = input.calls.reduce((s, c) => s + 1 - c.probability, 0);
  return { mean, sd: Math.sqrt(input.calls.reduce((s, c) => s + c.probability * (1 - c.probability), 0)) };
}

function summarise(input: ReportInput): string {
  const birds = listBirds(input);
  const free = input.calls.filter((c) => c.bird === NO_TAG).length;
  const { recorders } = input.study;
  const on = recorders.length > 1 ? ` on ${showCount(recorders.length, 'recorder')} (${joinNames(recorders)})` : '';
  const others = free ? `, ${groupDigits(free)} of them by callers without a tag` : '';
  return `${showCount(input.calls.length, 'call')} in ${showDuration(findDuration(input))} of ${showCount(birds.length, 'tagged bird')}${on}${others}`;
}

function listFigures(input: ReportInput): [string, string][] {
  const { usableSec, possibleSec } = sumUsable(input);
  const errors = expectErrors(input);
  const figures: [string, string][] = [
    [groupDigits(input.calls.length), 'calls in the table'],
    [showDuration(usableSec), `usable over all tracks, ${showPercent(possibleSec > 0 ? Math.min(1, usableSec / possibleSec) : NaN)} of what was possible`],
    [`${showNumber(errors.mean, 1)} ± ${showNumber(errors.sd, 1)}`, 'rows expected to be wrong, from the probabilities'],
  ];
  const { score, verified } = input;
  if (score) {
    const { value, low, high } = score.rightBird.f1;
    figures.push([showNumber(value, 3), `F1 for right time and right bird on ${showCount(score.counts.labels, 'labelled call')}; 95 % interval ${showNumber(low, 3)} to ${showNumber(high, 3)}`]);
  } else if (verified) {
    figures.push([showPercent(verified.right.value), `of rows right, by ear; 95 % interval ${showPercent(verified.right.low)} to ${showPercent(verified.right.high)}`]);
  } else {
    figures.push(['not measured', 'accuracy: no labelled or verified calls were scored']);
  }
  return figures;
}
