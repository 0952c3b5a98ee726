import type { Command } from 'commander';
import { runCommand } from '../io.js';
import { addExamples, parseNumber, parseWhole } from '../options.js';

export interface SampleCommandOptions {
  number?: number;
  within?: number;
  seed: number;
  output?: string;
  force?: boolean;
}

/** Adds `sample`: draws the calls to verify by ear. */
export function addSampleCommand(program: Command): void {
  const command = program.command('sample')
    .description('draw calls to verify by ear, so that the error rate of the whole table is known from few labels')
    .argument('<dir>', "folder that 'volary attribute' has written")
    .option('-n, --number <calls>', 'how many calls to draw (default: 100)', parseWhole(2))
    .option('--within <share>', 'draw as many as are needed to know the share of right rows to within this, such as 0.01', parseNumber(0.0001, 0.5))
    .option('--seed <number>', 'another seed draws other calls', parseWhole(0, 4294967295), 1)
    .option('-o, --output <file>', 'file to write (default: sample.csv in the folder)')
    .option('--force', 'replace the file if it is there, with the verified rows in it')
    .option('--json', 'print the plan as JSON')
    .action((folder: string, options: SampleCommandOptions) => runCommand('sample', async (io) => {
      const { runSample } = await import('./run-sample.js');
      return runSample(io, folder, options);
    }));
  addExamples(command, [
    'volary sample result -n 200',
    'volary sample result --within 0.01 -o verify.csv',
  ]);
  command.addHelpText('after', [
    '', 'Listen to the rows in their order, as many as you can, and write into the column bird who calls: a bird, none for a caller',
    "without a tag, no_call where there is no call. Then 'volary score DIR --labels sample.csv' tells the error rate of the whole table.",
  ].join('\n'));
}
