import { chooseByProbability } from '../score/risk-coverage.js';
import { dataLink, figure, paragraph, table } from './page.js';
import type { Section } from './page.js';
import type { ReportInput } from './report-input.js';
import { createScale, drawBottomAxis, drawLeftAxis, roundOut } from './scale.js';
import { expectErrors } from './section-summary.js';
import { box, picture, tip } from './svg.js';
import { groupDigits, showCount, showNumber, showPercent, showProbability } from './text.js';

const BINS = 20;

/** How sure the table is, and what is left when only the sure rows are kept. */
export function writeProbability(input: ReportInput): Section | undefined {
  if (!input.calls.length) return undefined;
  const errors = expectErrors(input);
  const text = paragraph(`Every row carries the probability that it is a real call of that bird. Taken at their word, the ${showCount(input.calls.length, 'row')} hold ${showNumber(errors.mean, 1)} wrong ones, `
    + `with a standard deviation of ${showNumber(errors.sd, 1)} if errors come one by one: ${showPercent(errors.mean / input.calls.length)} of the table. `
    + (input.score || input.verified ? 'Whether they keep their word is shown under Accuracy.' : 'Nobody has checked here whether they keep their word: draw a sample with \'volary sample\' and verify it by ear.'));
  return { id: 'probability', title: 'How sure', body: text + drawHistogram(input.calls.map((c) => c.probability)) + tabulateChoices(input.calls.map((c) => c.probability)) };
}

function drawHistogram(probabilities: readonly number[]): string {
  const least = probabilities.some((p) => p < 0.5) ? 0 : 0.5;
  const counts = new Array<number>(BINS).fill(0);
  for (const p of probabilities) counts[Math.min(BINS - 1, Math.max(0, Math.floor(((p - least) / (1 - least)) * BINS)))]++;
  const x = createScale(least, 1, 60, 700);
  const y = createScale(0, roundOut(0, Math.max(...counts), 4)[1], 220, 26);
  const limit = (i: number): number => least + (i / BINS) * (1 - least);
  const bars = counts.map((n, i) => (n ? box(x(limit(i)) + 1, y(n), x(limit(i + 1)) - x(limit(i)) - 2, 220 - y(n), 'call', tip(`${n} rows of probability ${limit(i).toFixed(3)} to ${limit(i + 1).toFixed(3)}`)) : ''));
  const data = dataLink('probabilities.csv', ['p_from', 'p_to', 'rows'], counts.map((n, i) => [limit(i).toFixed(4), limit(i + 1).toFixed(4), n]));
  return figure(picture(720, 262, `Histogram of ${probabilities.length} probabilities`, drawBottomAxis(x, 220, { title: 'probability of the row', ticks: 10 }), drawLeftAxis(y, 60, { title: 'rows', gridTo: 700, ticks: 4, leastStep: 1 }), ...bars),
    'Probabilities of all rows.', '', data);
}

function tabulateChoices(probabilities: readonly number[]): string {
  const rows = [0.9, 0.95, 0.98, 0.99, 0.995].map((asked) => {
    const c = chooseByProbability(probabilities, asked);
    if (c.threshold === null) return [showPercent(asked), 'not reached', '', '', ''];
    return [showPercent(asked), `${showProbability(c.threshold, 4)}`, groupDigits(c.kept), showPercent(c.keptShare), showPercent(c.expectedPrecision)];
  });
  return table(['share right asked for', 'keep from probability', 'rows kept', 'share kept', 'expected right'], rows,
    { caption: 'What is left when only rows above a threshold are kept, judged by the probabilities alone.' });
}
