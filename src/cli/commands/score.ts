import { InvalidArgumentError } from 'commander';
import type { Command } from 'commander';
import { runCommand } from '../io.js';
import { addExamples, parseNumber } from '../options.js';

export interface ScoreCommandOptions {
  labels: string;
  tracks?: string[];
  collar: number;
  tolerance: number;
  untagged?: boolean;
  from?: number;
  to?: number;
  precision?: number[];
}

/** Adds `score`: how right is the call table? */
export function addScoreCommand(program: Command): void {
  const command = program.command('score')
    .description('measure a call table against labelled calls, print a summary and write DIR/score.json')
    .argument('<dir>', "folder that 'volary attribute' has written")
    .requiredOption('--labels <file>', "labelled calls: CSV with bird, onset_s, offset_s, split by snr_db, overlap, near_m, lost, clipped if there; or a verified sample of 'volary sample'")
    .option('--tracks <birds>', 'score only these birds (names with commas between)', parseNames)
    .option('--collar <s>', 'seconds around the boundaries of labels that the diarization error rate leaves out', parseNumber(0), 0)
    .option('--tolerance <s>', 'largest difference of onsets of a match, in seconds', parseNumber(0, 3600), 0.05)
    .option('--untagged', 'let untagged callers count as one more bird in the diarization error rate')
    .option('--from <s>', 'score only calls that start at or after this time', parseNumber())
    .option('--to <s>', 'score only calls that start before this time: where only a part was labelled', parseNumber())
    .option('--precision <shares>', 'shares of right calls to find thresholds for, with commas between (default .9,.95,.98,.99,.995)', parseShares)
    .option('--json', 'print score.json instead of the summary')
    .action((folder: string, options: ScoreCommandOptions) => runCommand('score', async (io) => {
      const { runScore } = await import('./run-score.js');
      return runScore(io, folder, options);
    }));
  addExamples(command, [
    'volary score result --labels truth.csv',
    'volary score result --labels first-ten-minutes.csv --to 600 --tracks red,blue',
    'volary score result --labels result/sample.csv    the error rate of a whole table from a verified sample',
  ]);
}

function parseShares(text: string): number[] {
  const shares = text.split(',').map((t) => Number(t.trim()));
  if (shares.some((v) => !(v > 0 && v < 1))) throw new InvalidArgumentError("expected shares between 0 and 1, as in '.95,.99'.");
  return shares;
}

function parseNames(text: string): string[] {
  const names = text.split(',').map((name) => name.trim()).filter((name) => name !== '');
  if (!names.length) throw new InvalidArgumentError('expected names of birds with commas between');
  return [...new Set(names)];
}
