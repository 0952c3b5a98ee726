/** Answers that somebody has written into the drawn sample by hand. */
import type { CallRow } from '../../schema/rows.js';
import { NO_CALL_HEARD, scoreVerified } from '../../score/score-verified.js';
import type { VerifiedCall } from '../../score/score-verified.js';
import { idOfCall, parseChanges } from '../labels.js';
import type { Label, LabelChange, LabelEntry } from '../labels.js';
import { splitChanges } from '../split-changes.js';

/** The window under which such answers stand in the journal; no page has this name. */
export const SAMPLE_WINDOW = 'sample.csv';

/**
 * The verified rows of a sample, as words on calls of the table.
 * @throws VolaryError as `scoreVerified`: the page asks it with the same answers. 'bad-labels' on what the journal would not read again
 */
export function readSampleAnswers(sample: readonly VerifiedCall[], calls: readonly CallRow[]): LabelChange[] {
  const heard = sample.filter((row) => row.bird !== '');
  if (!heard.length) return [];
  scoreVerified(calls, sample);
  const byId = new Map(calls.map((call) => [call.callId, call]));
  const changes = heard.map(({ callId, bird }) => ({ id: idOfCall(callId), label: makeLabel(byId.get(callId)!, bird) }));
  return splitChanges(changes).flatMap(parseChanges);
}

/** Those of calls that no page has judged, less those that were taken from the file before: what was said or taken back in a page stays so. */
export function findNewAnswers(answers: readonly LabelChange[], entries: readonly LabelEntry[]): LabelChange[] {
  const isJudged = new Set<string>();
  const taken = new Map<string, Label | null>();
  for (const { window, changes } of entries) {
    for (const { id, label } of changes) if (window === SAMPLE_WINDOW) taken.set(id, label); else isJudged.add(id);
  }
  return answers.filter(({ id, label }) => {
    const before = taken.get(id);
    return !isJudged.has(id) && !(before?.bird === label?.bird && before?.kind === label?.kind);
  });
}

function makeLabel({ bird: reported, onsetSec, offsetSec, track }: CallRow, bird: string): Label {
  const isCall = bird !== NO_CALL_HEARD;
  return { bird: isCall ? bird : reported, onsetSec, offsetSec, kind: isCall ? 'call' : NO_CALL_HEARD, track, note: '' };
}
