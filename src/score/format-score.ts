import { alignColumns, digits, formatInterval, signed } from './format-text.js';
import type { Score } from './score-calls.js';
import type { Estimate } from './types.js';

/** The score as a readable text of a few dozen lines. */
export function formatScore(score: Score): string {
  return [
    describeCounts(score), '', ...formatMeasures(score), '', ...formatConfusion(score), ...formatChoices(score), ...formatSplits(score),
    '', 'Intervals are 95 %. Definitions and all numbers, with the reliability and risk-coverage curves: score.json.',
  ].join('\n');
}

function describeCounts({ counts, settings }: Score): string {
  const lines = [
    `${counts.calls} reports against ${counts.labels} labelled calls: ${counts.taggedLabels} by ${counts.birds.length} tagged birds, ` +
    `${counts.untaggedLabels} by untagged callers.`,
  ];
  if (settings.tracks) lines.push(`Only these birds are scored: ${settings.tracks.join(', ')}.`);
  if (counts.labelsOutside || counts.callsOutside) {
    lines.push(`Left out, because they start outside the scored stretch: ${counts.labelsOutside} labels, ${counts.callsOutside} reports.`);
  }
  return lines.join('\n');
}

type Row = [group: string, measure: string, estimate: Estimate, decimals: number, remark: string];

function formatMeasures(score: Score): string[] {
  const lines = listMeasures(score).map(([group, measure, estimate, decimals, remark]) =>
    [group, measure, digits(estimate.value, decimals), formatInterval(estimate, decimals), remark]);
  const widths = lines[0].map((_, column) => Math.max(...lines.map((line) => line[column].length)));
  return lines.map((line) => line.map((cell, i) => (i === 2 ? cell.padStart(widths[i]) : cell.padEnd(widths[i]))).join('  ').trimEnd());
}

function listMeasures(score: Score): Row[] {
  const { detection: d, rightBird: r, untagged: u, diarization: der, timing, calibration: c } = score;
  const shareOfTime = `missed ${digits(der.missedSec, 2)} s, false ${digits(der.falseAlarmSec, 2)} s, other bird ${digits(der.confusedSec, 2)} s of ${digits(der.scoredSec, 2)} s`;
  const untagged: Row[] = u.labels === 0 ? [] : [
    ['untagged callers', 'found', u.found, 3, `of ${u.labels}`],
    ['', 'given to a tagged bird', u.givenToTagged, 3, ''],
  ];
  return [
    ['right time and right bird', 'F1', r.f1, 3, `tagged birds; mean over birds ${digits(r.macro.f1.value, 3)}`],
    ['', 'precision', r.precision, 3, `${r.falsePositives} reports too many`],
    ['', 'recall', r.recall, 3, `${r.falseNegatives} calls missed`],
    ['detection', 'F1', d.f1, 3, 'whoever called, untagged callers included'],
    ['', 'precision', d.precision, 3, `${d.falsePositives} reports too many`],
    ['', 'recall', d.recall, 3, `${d.falseNegatives} calls missed`],
    ['attribution', 'accuracy', score.attribution.accuracy, 3, 'on calls that were found'],
    ['ghosts', 'per true call', score.ghosts.perTrueCall, 4, `${score.ghosts.count} reports in somebody else's call`],
    ...untagged,
    ['diarization', 'error rate', der.errorRate, 3, shareOfTime],
    ['onset error', 'median ms', timing.onset.medianMs, 2, `mean ${signed(timing.onset.meanMs.value)} (above 0: late)`],
    ['', 'p95 ms', timing.onset.p95Ms, 2, ''],
    ['offset error', 'median ms', timing.offset.medianMs, 2, `mean ${signed(timing.offset.meanMs.value)}`],
    ['', 'p95 ms', timing.offset.p95Ms, 2, ''],
    ['probabilities', 'Brier score', c.brier, 4, ''],
    ['', 'calibration error', c.calibrationError, 4, c.calibrationErrorByChance
      ? `perfect probabilities: up to ${digits(c.calibrationErrorByChance.p95, 4)} by chance` : ''],
  ];
}

/** Who was taken for whom; left out above twelve birds, where it no longer fits a line. */
function formatConfusion({ attribution }: Score): string[] {
  const { rows, columns, counts } = attribution.confusion;
  if (columns.length > 14) return [];
  const head = ['called / reported', ...columns];
  const lines = [head, ...rows.map((row, i) => [row, ...counts[i].map((n) => (n ? String(n) : '.'))])];
  return [...alignColumns(lines), ''];
}

function formatChoices({ calibration }: Score): string[] {
  const lines = [['precision asked for', 'keep from probability', 'share kept', 'precision reached']];
  for (const choice of calibration.riskCoverage.choices) {
    lines.push(choice.threshold === null
      ? [digits(choice.asked, 3), 'not reached', '', '']
      : [digits(choice.asked, 3), digits(choice.threshold, 4), digits(choice.keptShare, 3), `${digits(choice.precision.value, 3)}  ${formatInterval(choice.precision, 3)}`]);
  }
  return alignColumns(lines);
}

function formatSplits({ splits }: Score): string[] {
  return splits.flatMap((split) => {
    const lines = [[`by ${split.column}`, 'calls', 'found', 'right bird F1', 'interval', 'attribution', 'ghosts', 'onset median ms']];
    for (const g of split.groups) {
      lines.push([
        g.group, String(g.labels), digits(g.detectionRecall.value, 3), digits(g.rightBirdF1.value, 3), formatInterval(g.rightBirdF1, 3),
        digits(g.attributionAccuracy.value, 3), digits(g.ghostsPerTrueCall.value, 4), digits(g.onsetMedianMs, 2),
      ]);
    }
    return ['', ...alignColumns(lines)];
  });
}
