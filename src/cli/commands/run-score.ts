import { join } from 'node:path';
import { writeFileAtomic } from '../../node/write-files.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import type { CallRow, LabelRow } from '../../schema/rows.js';
import { formatScore } from '../../score/format-score.js';
import { formatVerified } from '../../score/format-verified.js';
import { scoreCalls } from '../../score/score-calls.js';
import type { Score } from '../../score/score-calls.js';
import { scoreToJson, verifiedScoreToJson } from '../../score/score-json.js';
import { scoreVerified } from '../../score/score-verified.js';
import { UNTAGGED } from '../../score/types.js';
import { readLabels } from '../../table/labels.js';
import { EXIT } from '../io.js';
import type { CommandIo } from '../io.js';
import { readAnalysedEnd, readCalls, readTextFile } from './read-result.js';
import { isSample, readSample } from '../../score/sample-file.js';
import type { ScoreCommandOptions } from './score.js';

/** What `volary score` does. */
export async function runScore(io: CommandIo, folder: string, options: ScoreCommandOptions): Promise<number> {
  if (options.from !== undefined && options.to !== undefined && options.from >= options.to) {
    throw new VolaryError('bad-option', { where: '--to', what: 'the stretch to score is empty', got: String(options.to), expected: `more than --from ${options.from}` });
  }
  const calls = await readCalls(folder);
  const text = await readTextFile(options.labels, 'give a CSV file with the columns bird, onset_s and offset_s');
  if (isSample(text, options.labels)) return runVerified(io, folder, calls, text, options);
  const labels = await leaveOutUnanalysed(io, folder, readLabels(text, options.labels), options.labels);
  const score = scoreCalls(calls, labels, {
    toleranceSec: options.tolerance, collarSec: options.collar, tracks: options.tracks, untaggedInDiarization: options.untagged,
    fromSec: options.from, toSec: options.to, precisions: options.precision,
  });
  if (score.counts.labels === 0) {
    throw new VolaryError('no-data', {
      where: quoteName(options.labels), what: 'no labelled call to score against', got: `${labels.length} labels, none in the scored stretch`, expected: 'at least one',
    });
  }
  noteDoubts(io, calls, labels, score);
  await writeResult(io, folder, scoreToJson(score), formatScore(score));
  return EXIT.done;
}

/** A verified sample tells the error rate of the whole table; what needs all labels of a stretch cannot be asked of it. */
async function runVerified(io: CommandIo, folder: string, calls: readonly CallRow[], text: string, options: ScoreCommandOptions): Promise<number> {
  const unfit = options.tracks ? '--tracks' : options.from !== undefined ? '--from' : options.to !== undefined ? '--to' : options.collar ? '--collar' : options.precision ? '--precision' : options.untagged ? '--untagged' : undefined;
  if (unfit) throw new VolaryError('bad-option', { where: unfit, what: 'has no meaning for a verified sample', expected: 'no such option, or a label file' });
  const score = scoreVerified(calls, readSample(text, options.labels), options.tolerance);
  await writeResult(io, folder, verifiedScoreToJson(score), formatVerified(score));
  return EXIT.done;
}

async function writeResult(io: CommandIo, folder: string, json: string, summary: string): Promise<void> {
  await writeFileAtomic(join(folder, 'score.json'), json, { overwrite: true });
  io.out(io.json ? json.trimEnd() : summary);
}

/** What a call at the end may last beyond what was analysed. */
const LONGEST_REST_SEC = 60;

/** Labels of a time that was not analysed say nothing about the table. */
async function leaveOutUnanalysed(io: CommandIo, folder: string, labels: LabelRow[], name: string): Promise<LabelRow[]> {
  const endSec = await readAnalysedEnd(folder);
  if (endSec === undefined) return labels;
  const inside = labels.filter((label) => label.onsetSec < endSec);
  const endless = inside.find((label) => label.offsetSec > endSec + LONGEST_REST_SEC);
  if (endless) {
    throw new VolaryError('bad-labels', { where: `${quoteName(name)} column offset_s`, what: 'a call that ends long after what was analysed', got: `${endless.onsetSec} to ${endless.offsetSec} s`, expected: `an end before ${endSec} s` });
  }
  if (inside.length < labels.length) {
    io.note(`volary score: ${labels.length - inside.length} of ${labels.length} labels start after the end of what was analysed (${endSec} s) and are left out`);
  }
  return inside;
}

/** Says what makes the numbers doubtful: other names in the two tables, labels for a part of the recording only. */
function noteDoubts(io: CommandIo, calls: readonly CallRow[], labels: readonly LabelRow[], score: Score): void {
  const reported = new Set(calls.map((call) => call.bird));
  const unknown = [...new Set(labels.map((label) => label.bird))].filter((bird) => bird !== UNTAGGED && !reported.has(bird)).sort();
  if (unknown.length) io.note(`volary score: no report of ${unknown.join(', ')}, who ${unknown.length > 1 ? 'have' : 'has'} labels: same names in both tables?`);
  const { fromSec, toSec } = score.settings;
  const inStretch = calls.filter((call) => call.onsetSec >= (fromSec ?? -Infinity) && call.onsetSec < (toSec ?? Infinity));
  const last = labels.reduce((latest, label) => Math.max(latest, label.offsetSec), -Infinity);
  const first = labels.reduce((earliest, label) => Math.min(earliest, label.onsetSec), Infinity);
  const before = inStretch.filter((call) => call.offsetSec < first - 1).length;
  const after = inStretch.filter((call) => call.onsetSec > last + 1).length;
  // A tenth: a few reports beyond the last label are ordinary errors, more of them an unlabelled stretch.
  if (before + after > inStretch.length / 10) {
    io.note(`volary score: ${before} reports lie before the first label (${first.toFixed(1)} s) and ${after} after the last (${last.toFixed(1)} s); ` +
      'all count as wrong; where only a part was labelled, give it with --from and --to');
  }
}

