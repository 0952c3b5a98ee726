import { alignColumns, digits } from '../score/format-text.js';
import { toJson } from '../score/score-json.js';
import type { Refit } from './refit-calls.js';

/** What a refit did, as text for people. */
export function formatRefit(refit: Refit): string {
  const { before, after } = refit;
  const share = [
    ['judged rows, by what they stand for', 'before', 'after'],
    ['mean probability', digits(before.claimed, 4), digits(after.claimed, 4)],
    ['share found right', digits(refit.rightShare, 4), digits(refit.rightShare, 4)],
    ['calibration error', digits(before.calibrationError, 4), digits(after.calibrationError, 4)],
    ['Brier score', digits(before.brier, 4), digits(after.brier, 4)],
    ['log loss', digits(before.logLoss, 4), digits(after.logLoss, 4)],
  ];
  const kept = [['for right rows', 'keep from probability', 'rows kept']];
  for (const t of refit.thresholds) kept.push([digits(t.asked, 2), digits(t.threshold, 4), String(t.kept)]);
  return [
    `${refit.judged} rows judged, ${refit.right} of them right; ${refit.calls.length} rows written, ${refit.leftOut} below the threshold left out.`, '',
    ...alignColumns(share), '',
    `"after" is told of rows that the fit had not seen (five folds). Right probabilities would show a calibration error of ${digits(refit.chanceError, 4)} by chance.`,
    ...(refit.isBetter ? [] : ['The new probabilities foretell unseen rows no better than the old ones: keep the old table.']), '',
    ...alignColumns(kept),
  ].join('\n');
}

/** What refit.json holds: what was judged, the correction, errors before and after, thresholds. `origin` says what it was made from. */
export function refitToJson(refit: Refit, origin: object): string {
  const { calls, ...told } = refit;
  return toJson({ kind: 'volary-refit', schemaVersion: 1, ...origin, rows: calls.length, ...told });
}
