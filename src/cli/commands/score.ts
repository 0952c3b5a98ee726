import { join } from 'node:path';
import { InvalidArgumentError } from 'commander';
import type { Command } from 'commander';
import { writeFileAtomic } from '../../node/write-files.js';
import { VolaryError } from '../../schema/errors.js';
import type { CallRow, LabelRow } from '../../schema/rows.js';
import { formatScore } from '../../score/format-score.js';
import { scoreCalls } from '../../score/score-calls.js';
import type { Score } from '../../score/score-calls.js';
import { scoreToJson } from '../../score/score-json.js';
import { UNTAGGED } from '../../score/types.js';
import { EXIT, runCommand } from '../io.js';
import type { CommandIo } from '../io.js';
import { addExamples, parseNumber } from '../options.js';
import { readAnalysedEnd, readCalls, readLabelFile } from './read-result.js';

interface ScoreCommandOptions {
  labels: string;
  tracks?: string[];
  collar: number;
  tolerance: number;
  untagged?: boolean;
  from?: number;
  to?: number;
}

/** `volary score DIR --labels truth.csv`: how right is the call table? */
export function addScoreCommand(program: Command): void {
  const command = program.command('score')
    .description('Measures a call table against labelled calls; prints a summary and writes DIR/score.json.')
    .argument('<dir>', "folder that 'volary attribute' has written")
    .requiredOption('--labels <file>', 'labelled calls: CSV with bird, onset_s, offset_s; splits by snr_db, overlap, near_m, lost, clipped if there')
    .option('--tracks <birds>', 'score only these birds (names with commas between)', parseNames)
    .option('--collar <s>', 'seconds around the boundaries of labels that the diarization error rate leaves out', parseNumber(0), 0)
    .option('--tolerance <s>', 'largest difference of onsets of a match, in seconds', parseNumber(0, 3600), 0.05)
    .option('--untagged', 'let untagged callers count as one more bird in the diarization error rate')
    .option('--from <s>', 'score only calls that start at or after this time', parseNumber())
    .option('--to <s>', 'score only calls that start before this time: where only a part was labelled', parseNumber())
    .option('--json', 'print score.json instead of the summary')
    .action((folder: string, options: ScoreCommandOptions) => runCommand('score', (io) => runScore(io, folder, options)));
  addExamples(command, [
    'volary score result --labels truth.csv',
    'volary score result --labels first-ten-minutes.csv --to 600 --tracks red,blue',
  ]);
}

async function runScore(io: CommandIo, folder: string, options: ScoreCommandOptions): Promise<number> {
  if (options.from !== undefined && options.to !== undefined && options.from >= options.to) {
    throw new VolaryError('bad-option', { where: '--to', what: 'the stretch to score is empty', got: String(options.to), expected: `more than --from ${options.from}` });
  }
  const calls = await readCalls(folder);
  const labels = await leaveOutUnanalysed(io, folder, await readLabelFile(options.labels));
  const score = scoreCalls(calls, labels, {
    toleranceSec: options.tolerance, collarSec: options.collar, tracks: options.tracks, untaggedInDiarization: options.untagged,
    fromSec: options.from, toSec: options.to,
  });
  if (score.counts.labels === 0) {
    throw new VolaryError('no-data', { what: 'no labelled call to score against', where: JSON.stringify(options.labels), got: `${labels.length} labels, none in the scored stretch`, expected: 'at least one' });
  }
  noteDoubts(io, calls, labels, score);
  await writeFileAtomic(join(folder, 'score.json'), scoreToJson(score), { overwrite: true });
  io.out(io.json ? scoreToJson(score).trimEnd() : formatScore(score));
  return EXIT.done;
}

/** Labels of a time that was not analysed say nothing about the table. */
async function leaveOutUnanalysed(io: CommandIo, folder: string, labels: LabelRow[]): Promise<LabelRow[]> {
  const endSec = await readAnalysedEnd(folder);
  if (endSec === undefined) return labels;
  const inside = labels.filter((label) => label.onsetSec < endSec);
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

function parseNames(text: string): string[] {
  const names = text.split(',').map((name) => name.trim()).filter((name) => name !== '');
  if (!names.length) throw new InvalidArgumentError('expected names of birds with commas between');
  return [...new Set(names)];
}
