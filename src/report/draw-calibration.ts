import { estimateShare } from '../score/intervals.js';
import type { CalibrationScore } from '../score/score-calibration.js';
import { dataLink, figure } from './page.js';
import { createScale, drawBottomAxis, drawLeftAxis } from './scale.js';
import { element, line, pathThrough, picture, tip } from './svg.js';
import { showNumber, showPercent } from './text.js';

/** Stated probability against the share that was right, with Wilson intervals; on the diagonal, probabilities keep their word. */
export function drawReliability(calibration: CalibrationScore): string {
  const bins = calibration.reliability.filter((b) => b.count > 0);
  const x = createScale(0, 1, 56, 500);
  const y = createScale(0, 1, 330, 26);
  const points = bins.map((b) => {
    const share = estimateShare(b.correct, b.count);
    const text = tip(`${b.correct} of ${b.count} rows right, stated ${showNumber(b.meanProbability, 3)}`);
    return line(x(b.meanProbability), y(share.low ?? 0), x(b.meanProbability), y(share.high ?? 1), 'range')
      + element('circle', { class: 'dot-full', cx: x(b.meanProbability), cy: y(b.observedShare), r: 2.5 + 1.2 * Math.log10(b.count) * 1.6 }, text);
  });
  const data = dataLink('reliability.csv', ['p_from', 'p_to', 'rows', 'right', 'p_mean', 'share_right'], bins.map((b) => [b.lowProbability.toFixed(4), b.highProbability.toFixed(4), b.count, b.correct, b.meanProbability.toFixed(4), b.observedShare.toFixed(4)]));
  const drawing = picture(520, 374, `Reliability curve of ${bins.length} groups of rows`,
    drawBottomAxis(x, 330, { title: 'probability stated', gridTo: 26 }), drawLeftAxis(y, 56, { title: 'share that was right', gridTo: 500 }), line(x(0), y(0), x(1), y(1), 'zero'), ...points);
  return figure(drawing, 'Reliability.', 'Rows in groups of equal width; larger dots hold more rows, bars are 95 % intervals. On the dashed line the probabilities keep their word.', data);
}

/** Share of wrong rows against the share of rows kept, the surest first. */
export function drawRiskCoverage(calibration: CalibrationScore): string {
  const { points, meanRisk } = calibration.riskCoverage;
  if (!points.length) return '';
  const most = Math.max(0.02, ...points.map((p) => 1 - p.precision));
  const x = createScale(0, 1, 56, 500);
  const y = createScale(0, Math.min(1, most * 1.15), 330, 26);
  const steps: [number, number][] = [];
  let before = 0;
  for (const p of points) {
    steps.push([x(before), y(1 - p.precision)], [x(p.keptShare), y(1 - p.precision)]);
    before = p.keptShare;
  }
  const data = dataLink('risk-coverage.csv', ['keep_from', 'share_kept', 'share_wrong'], points.map((p) => [p.threshold.toFixed(4), p.keptShare.toFixed(5), (1 - p.precision).toFixed(5)]));
  const drawing = picture(520, 374, 'Risk-coverage curve', drawBottomAxis(x, 330, { title: 'share of rows kept, surest first', gridTo: 26, format: showShare }), drawLeftAxis(y, 56, { title: 'share of kept rows that are wrong', gridTo: 500, format: showShare }), pathThrough(steps, 'call-line'));
  return figure(drawing, 'Risk and coverage.', `What is gained by keeping only the surest rows. All rows kept: ${showPercent(1 - points[points.length - 1].precision)} wrong; mean over the curve ${showPercent(meanRisk)}.`, data);
}

function showShare(share: number): string {
  return `${showNumber(100 * share, Number.isInteger(Math.round(share * 1e6) / 1e4) ? 0 : 1)} %`;
}
