import type { Command } from 'commander';
import { runCommand } from '../io.js';
import { addExamples, parseNumber } from '../options.js';

export interface RefitCommandOptions {
  labels: string;
  out: string;
  from?: number;
  to?: number;
  threshold: number;
  force?: boolean;
}

/** Adds `refit`: probabilities that fit what was heard in this study. */
export function addRefitCommand(program: Command): void {
  const command = program.command('refit')
    .description('calibrate the probabilities of a call table anew on rows that you have judged, and write a new folder; nothing is heard again')
    .argument('<dir>', "folder that 'volary attribute' has written; it stays as it is")
    .requiredOption('--labels <file>', "a verified sample (DIR/verified.csv of 'volary review', or of 'volary sample'), or labelled calls of a stretch with --from and --to")
    .requiredOption('-o, --out <dir>', 'new folder for the tables and refit.json')
    .option('--from <s>', 'start of the stretch of which every call is labelled', parseNumber(0))
    .option('--to <s>', 'its end', parseNumber(0))
    .option('--threshold <p>', 'leave out rows below this new probability', parseNumber(0, 1), 0.5)
    .option('--force', 'replace tables that are there')
    .option('--json', 'print refit.json instead of the summary')
    .action((folder: string, options: RefitCommandOptions) => runCommand('refit', async (io) => {
      const { runRefit } = await import('./run-refit.js');
      return runRefit(io, folder, options);
    }));
  addExamples(command, [
    'volary refit result --labels result/verified.csv --out refitted',
    'volary refit result --labels result/labels.csv --from 600 --to 1200 --out refitted',
  ]);
  command.addHelpText('after', [
    '', "With few judged rows the correction shrinks towards none, that is towards the probabilities as they are in the table (of 'volary",
    "attribute': the shipped calibration); the more rows are judged, the more what was heard counts. At least 50 are needed.",
  ].join('\n'));
}
