import { InvalidArgumentError } from 'commander';
import type { Command } from 'commander';
import { runCommand } from '../io.js';
import { addExamples, parseWhole } from '../options.js';

export interface ReportCommandOptions {
  output?: string;
  study?: string;
  labels?: string;
  excerpts: number;
  at?: number[];
  sound: boolean;
  force?: boolean;
}

/** Adds `report`: tells a study's result as one HTML file. */
export function addReportCommand(program: Command): void {
  const command = program.command('report')
    .description('tell a result as one HTML file that needs no network: spectrograms with the calls over them, calls per bird, links, levels and lags, accuracy, clocks, methods, and what rates, habituation and network have left in the folder')
    .argument('<dir>', "folder that 'volary attribute' has written; a score.json of 'volary score' in it is told too")
    .option('-o, --output <file>', 'file to write (default: report.html in the folder)')
    .option('--study <file>', 'study manifest (default: the one that run.json names)')
    .option('--labels <file>', 'labelled calls to mark under the spectrograms: CSV with bird, onset_s, offset_s')
    .option('--excerpts <n>', 'number of stretches to draw, the busiest ones', parseWhole(0, 6), 2)
    .option('--at <s>', 'draw the stretches that start at these times instead (seconds, with commas between)', parseTimes)
    .option('--no-sound', 'use the tables only, read no recording')
    .option('--force', 'replace the file if it is there')
    .option('--json', 'print a summary as JSON')
    .action((folder: string, options: ReportCommandOptions) => runCommand('report', async (io) => {
      const { runReport } = await import('./run-report.js');
      return runReport(io, folder, options);
    }));
  addExamples(command, [
    'volary report result',
    'volary report result --labels truth.csv -o report.html --force',
    'volary report result --at 12.5,340',
  ]);
}

function parseTimes(text: string): number[] {
  const times = text.split(',').map((t) => Number(t.trim() === '' ? NaN : t));
  if (!times.length || times.length > 6 || times.some((t) => !Number.isFinite(t) || t < 0)) throw new InvalidArgumentError('expected one to six times in seconds with commas between');
  return times;
}
