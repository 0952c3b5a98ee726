// Several scenes as one table: each in a stretch of time of its own, with birds of its own.
import { scoreCalls } from '../../dist/score/score-calls.js';
import { UNTAGGED } from '../../dist/score/types.js';

/** Between two scenes: no match, no block of the bootstrap reaches from one to the next. */
const GAP_SEC = 10;

/** Score of one method over judged scenes, pooled. */
export function scorePooled(scenes, method, options = {}) {
  const calls = []; const labels = [];
  let shift = 0;
  for (const s of scenes) {
    const move = (row) => ({ ...row, bird: row.bird === UNTAGGED ? UNTAGGED : `${s.name}/${row.bird}`, onsetSec: row.onsetSec + shift, offsetSec: row.offsetSec + shift });
    calls.push(...s.calls[method].map(move));
    labels.push(...s.truth.map(move));
    shift += s.durationSec + GAP_SEC;
  }
  return scoreCalls(calls, labels, options);
}

/** Callers without a tag, but those that no track hears above its steady noise: { labels, found }. */
export function scoreHeard(scenes, method) {
  const heard = scenes.map((s) => ({ ...s, truth: s.truth.filter((t) => t.bird !== UNTAGGED || Number(t.extra.snr_db) > 0) }));
  const { labels, found } = scorePooled(heard, method, { resamples: 20 }).untagged;
  return { labels, found: whole(found) };
}

const whole = (e) => ({ value: e.value, low: e.low, high: e.high });

/** The measures of the tables, and what is needed to count them again. */
export function summarise(score, hasProbability) {
  const overlap = score.splits.find((s) => s.column === 'overlap')?.groups ?? [];
  const flag = (name) => overlap.find((g) => g.group === name);
  return {
    labels: score.counts.labels, taggedLabels: score.counts.taggedLabels, untaggedLabels: score.counts.untaggedLabels, reports: score.counts.calls,
    rightBirdF1: whole(score.rightBird.f1), precision: whole(score.rightBird.precision), recall: whole(score.rightBird.recall),
    detectionF1: whole(score.detection.f1), ghosts: { count: score.ghosts.count, ...whole(score.ghosts.perTrueCall) },
    diarizationError: whole(score.diarization.errorRate), onsetMedianMs: whole(score.timing.onset.medianMs), onsetP95Ms: whole(score.timing.onset.p95Ms),
    untaggedFound: whole(score.untagged.found), untaggedGivenAway: whole(score.untagged.givenToTagged),
    calibrationError: hasProbability ? whole(score.calibration.calibrationError) : null,
    calibrationErrorByChance: hasProbability ? score.calibration.calibrationErrorByChance : null,
    overlapGroups: overlap.map((g) => ({ group: g.group, taggedLabels: g.taggedLabels, recall: whole(g.rightBirdRecall) })),
  };
}
