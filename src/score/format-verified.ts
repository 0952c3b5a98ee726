import { alignColumns, digits, formatInterval } from './format-text.js';
import type { VerifiedScore } from './score-verified.js';

/** The estimated error rate of a table as a readable text. */
export function formatVerified(score: VerifiedScore): string {
  const { right, otherBird, noCall } = score;
  const lines = [
    ['rows of the table that are', 'share', 'interval'],
    ['right: a call of that bird', digits(right.value, 4), formatInterval(right, 4)],
    ['a call of somebody else', digits(otherBird.value, 4), formatInterval(otherBird, 4)],
    ['no call', digits(noCall.value, 4), formatInterval(noCall, 4)],
    ['right after the probabilities', digits(score.claimed, 4), ''],
  ];
  const strata = [['probability', 'rows', 'verified', 'right', 'share', 'claimed']];
  for (const s of score.strata) {
    strata.push([
      `${digits(s.lowProbability, 4)} to ${digits(s.highProbability, 4)}`, String(s.size), String(s.trials), String(s.successes),
      digits(s.successes / s.trials, 3), digits(s.meanProbability, 3),
    ]);
  }
  const kept = [['keep from probability', 'share kept', 'right', 'interval']];
  for (const k of score.kept) {
    kept.push([digits(k.fromProbability, 4), digits(k.keptShare, 3), digits(k.precision.value, 4), formatInterval(k.precision, 4)]);
  }
  const above = score.isInOrder ? alignColumns(kept)
    : ['Probabilities have changed since the sample was drawn: what would be right above one of them is not told. Draw anew for that.'];
  const open = score.right.value === null ? ['', 'Some strata have no verified row yet: go on in the order of the sample.'] : [];
  return [
    `${score.verified} of ${score.drawn} drawn rows verified, out of ${score.calls} rows.`, '', ...alignColumns(lines), '', ...alignColumns(strata), '',
    ...above, ...open, '', 'Calls that the table misses cannot be seen this way. Intervals are 95 %.',
  ].join('\n');
}
