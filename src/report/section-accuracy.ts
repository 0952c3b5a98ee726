import type { LabelSplit } from '../score/label-splits.js';
import { NO_CALL, NOT_REPORTED } from '../score/match-scores.js';
import type { Score } from '../score/score-calls.js';
import type { VerifiedScore } from '../score/score-verified.js';
import type { Estimate } from '../score/types.js';
import { NO_TAG, NO_TAG_LABEL } from './bird-order.js';
import { drawReliability, drawRiskCoverage } from './draw-calibration.js';
import { dataLink, figure, paragraph, scrollFrame, table } from './page.js';
import type { Section } from './page.js';
import type { ReportInput } from './report-input.js';
import { createScale, drawBottomAxis } from './scale.js';
import { element, label, line, picture, tip } from './svg.js';
import { escapeHtml, joinNames, showCount, showNumber, showPercent, showProbability } from './text.js';

/** What labelled or verified calls say about the table. */
export function writeAccuracy(input: ReportInput): Section {
  const title = 'Accuracy';
  if (input.score) return { id: 'accuracy', title, body: writeScored(input.score) };
  if (input.verified) return { id: 'accuracy', title, body: writeVerified(input.verified) };
  return {
    id: 'accuracy', title,
    body: paragraph('Not measured yet. A table without an error rate measured on labelled calls is a promise. Either label a few minutes completely and run \'volary score DIR --labels FILE\', '
      + 'or draw rows with \'volary sample DIR\', verify them by ear and score the sample; then make this report again.', 'caution'),
  };
}

function writeScored(score: Score): string {
  const { counts, settings, splits, calibration } = score;
  const only = settings.tracks ? ` Only these birds were scored: ${joinNames(settings.tracks)}.` : '';
  const stretch = settings.fromSec !== null || settings.toSec !== null ? ` Only calls from ${showNumber(settings.fromSec ?? 0, 1)} s${settings.toSec !== null ? ` to ${showNumber(settings.toSec, 1)} s` : ''} were scored.` : '';
  const intro = paragraph(`${showCount(counts.calls, 'row')} of the table were held against ${showCount(counts.labels, 'labelled call')}: ${counts.taggedLabels} by ${showCount(counts.birds.length, 'tagged bird')}, `
    + `${counts.untaggedLabels} by callers without a tag. A row matches a label when the onsets are at most ${showNumber(1000 * settings.toleranceSec, 0)} ms apart and both overlap; one to one.${only}${stretch}`);
  return `${intro}${drawShares(score)}${tabulateNumbers(score)}<h3>Who was taken for whom</h3>${tabulateConfusion(score)}`
    + `<h3>Do the probabilities keep their word?</h3><div class="pair">${drawReliability(calibration)}${drawRiskCoverage(calibration)}</div>${tabulateChoices(score)}${tabulateSplits(splits)}`;
}

function listShares({ rightBird: r, detection: d, attribution: a }: Score): [string, Estimate][] {
  return [
    ['right time and right bird: F1', r.f1], ['precision', r.precision], ['recall', r.recall],
    ['a call at all: F1', d.f1], ['precision', d.precision], ['recall', d.recall], ['right bird, of calls found', a.accuracy],
  ];
}

function drawShares(score: Score): string {
  const shares = listShares(score);
  const least = Math.min(0.8, ...shares.map(([, e]) => e.low ?? e.value ?? 1));
  const x = createScale(Math.floor(least * 20) / 20, 1, 230, 800);
  const bottom = 12 + 27 * shares.length;
  const rows = shares.map(([name, e], i) => {
    const y = 24 + 27 * i;
    const isMain = name.includes(':') || i === shares.length - 1;
    const title = label(name, { class: isMain ? 'name' : 'num', x: 220, y: y + 4, 'text-anchor': 'end' });
    if (e.value === null) return title + label('no value', { class: 'num', x: 240, y: y + 4 });
    const range = e.low === null || e.high === null ? '' : line(x(e.low), y, x(e.high), y, 'range');
    const text = `${showNumber(e.value, 3)}${e.low === null ? '' : `  (${showNumber(e.low, 3)} to ${showNumber(e.high, 3)})`}`;
    return `${title}${range}${element('circle', { class: 'dot-full', cx: x(e.value), cy: y, r: isMain ? 5.5 : 4 }, tip(`${name} ${text}`))}${label(text, { class: 'num', x: 820, y: y + 4 })}`;
  });
  const drawing = picture(1000, bottom + 44, `Accuracy: ${shares.map(([n, e]) => `${n} ${showNumber(e.value, 3)}`).join(', ')}`, drawBottomAxis(x, bottom, { title: 'share, with 95 % interval', gridTo: 8 }), ...rows);
  const data = dataLink('accuracy.csv', ['measure', 'value', 'low', 'high', 'method'], shares.map(([n, e]) => [n, e.value ?? '', e.low ?? '', e.high ?? '', e.method]));
  return figure(drawing, 'How right the table is.', 'Dots: measured on the labels; bars: 95 % intervals (Wilson for shares, bootstrap over blocks of time for F1).', data);
}

function tabulateNumbers(score: Score): string {
  const { ghosts, diarization: der, timing, calibration: c, untagged, rightBird: r } = score;
  const row = (name: string, e: Estimate, decimals: number, remark: string): string[] =>
    [name, showNumber(e.value, decimals), e.low === null ? '' : `${showNumber(e.low, decimals)} to ${showNumber(e.high, decimals)}`, remark];
  const byChance = c.calibrationErrorByChance;
  const rows = [
    ['rows too many', String(r.falsePositives), '', 'tagged birds'],
    ['calls missed', String(r.falseNegatives), '', 'tagged birds'],
    row('ghosts per true call', ghosts.perTrueCall, 4, `${showCount(ghosts.count, 'row')} in somebody else's call`),
    row('diarization error rate', der.errorRate, 3, `missed ${showNumber(der.missedSec, 2)} s, false ${showNumber(der.falseAlarmSec, 2)} s, other bird ${showNumber(der.confusedSec, 2)} s of ${showNumber(der.scoredSec, 2)} s`),
    ...(untagged.labels ? [row('callers without a tag found', untagged.found, 3, `of ${untagged.labels}`), row('… given to a tagged bird', untagged.givenToTagged, 3, '')] : []),
    row('onset error, median ms', timing.onset.medianMs, 2, `95 % point ${showNumber(timing.onset.p95Ms.value, 1)} ms`),
    row('offset error, median ms', timing.offset.medianMs, 2, `95 % point ${showNumber(timing.offset.p95Ms.value, 1)} ms`),
    row('Brier score', c.brier, 4, 'of the probabilities; 0 is perfect'),
    row('calibration error', c.calibrationError, 4, byChance ? `perfect probabilities reach up to ${showNumber(byChance.p95, 4)} by chance` : ''),
  ];
  return table(['measure', 'value', '95 % interval', 'remark'], rows, { left: [3] });
}

const MOST_CONFUSION = 18;

function tabulateConfusion({ attribution }: Score): string {
  const { rows, columns, counts } = attribution.confusion;
  if (columns.length > MOST_CONFUSION) return paragraph(`The table of ${rows.length} by ${columns.length} names is in score.json.`);
  const show = (name: string): string => escapeHtml(name === NO_TAG ? NO_TAG_LABEL : name === NO_CALL ? 'nobody' : name === NOT_REPORTED ? 'not reported' : name);
  const head = columns.map((c) => `<th scope="col">${show(c)}</th>`).join('');
  const body = rows.map((row, i) => {
    const total = counts[i].reduce((a, b) => a + b, 0);
    const cells = counts[i].map((n, j) => {
      const isSame = row === columns[j];
      const css = `${n ? (isSame ? 'heat' : 'wrong') : ''}${isSame ? ' same' : ''}`.trim();
      return `<td${css ? ` class="${css}"` : ''}${n ? ` style="--w:${(0.25 + (0.75 * n) / Math.max(1, total)).toFixed(2)}"` : ''}>${n || '·'}</td>`;
    });
    return `<tr><th scope="row">${show(row)}</th>${cells.join('')}</tr>`;
  });
  return `${scrollFrame('table: who was taken for whom', `<table class="grid"><caption>Rows: who called. Columns: who was reported. Framed: right.</caption><thead><tr><th scope="col">called \\ reported</th>${head}</tr></thead><tbody>${body.join('\n')}</tbody></table>`)}\n`;
}

function tabulateChoices({ calibration }: Score): string {
  const rows = calibration.riskCoverage.choices.map((c) => (c.threshold === null
    ? [showPercent(c.asked), 'not reached', '', '']
    : [showPercent(c.asked), showProbability(c.threshold, 4), showPercent(c.keptShare), `${showNumber(c.precision.value, 3)} (${showNumber(c.precision.low, 3)} to ${showNumber(c.precision.high, 3)})`]));
  return table(['share right asked for', 'keep from probability', 'share kept', 'share right on the labels'], rows, { caption: 'Thresholds judged on the labels.' });
}

const SPLIT_NAMES: Record<string, string> = { snr_db: 'level over noise', overlap: 'overlapped by another call', near_m: 'nearest other bird', lost: 'link lost', clipped: 'clipped' };

/** Where the errors are; a column whose labels are all of one group tells nothing and is left out. */
function tabulateSplits(splits: readonly LabelSplit[]): string {
  const rows = splits.filter((split) => split.groups.length > 1).flatMap((split) => split.groups.map((g) => [
    `${SPLIT_NAMES[split.column] ?? split.column}: ${g.group}`, String(g.labels), showNumber(g.detectionRecall.value, 3), showNumber(g.rightBirdF1.value, 3),
    g.rightBirdF1.low === null ? '' : `${showNumber(g.rightBirdF1.low, 3)} to ${showNumber(g.rightBirdF1.high, 3)}`, showNumber(g.attributionAccuracy.value, 3), showNumber(g.onsetMedianMs, 1),
  ]));
  return rows.length ? `<h3>Where the errors are</h3>${table(['labelled calls', 'number', 'found', 'right bird F1', '95 % interval', 'right bird, of those found', 'median onset error ms'], rows)}` : '';
}

function writeVerified(v: VerifiedScore): string {
  const row = (name: string, e: Estimate): string[] => [name, showPercent(e.value), `${showPercent(e.low)} to ${showPercent(e.high)}`];
  return paragraph(`${showCount(v.verified, 'row')} of ${v.drawn} drawn at random from the ${showCount(v.calls, 'row')} of the table were verified by ear; each stands for the rows it was drawn from.`)
    + table(['share of all rows', 'estimate', '95 % interval'], [row('right: a call of that bird', v.right), row('a call of somebody else', v.otherBird), row('no call at all', v.noCall)])
    + paragraph(`The probabilities claim ${showPercent(v.claimed)}.`)
    + (v.kept.length ? table(['keep from probability', 'share kept', 'share right'], v.kept.map((k) => [showProbability(k.fromProbability, 4), showPercent(k.keptShare), `${showPercent(k.precision.value)} (${showPercent(k.precision.low)} to ${showPercent(k.precision.high)})`]))
      : paragraph('Probabilities have changed since the sample was drawn: what would be right above one of them is not told.'));
}
