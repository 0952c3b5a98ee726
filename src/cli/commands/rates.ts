import type { Command } from 'commander';
import { addAnalysisOptions, addExcludeOptions } from '../analysis-options.js';
import { runCommand } from '../io.js';
import { addExamples } from '../options.js';
import type { AnalysisOptions } from './read-analysis.js';

export interface RatesCommandOptions extends AnalysisOptions { weighted?: boolean }

/** Adds `rates`: who calls how often? */
export function addRatesCommand(program: Command): void {
  const command = program.command('rates')
    .description('count calls, song bouts and syllables per usable hour of every bird, by hour of day and by day; writes rates.csv, rates-by-hour.csv, rates-by-day.csv, bouts.csv and rates.json to DIR')
    .argument('<dir>', "folder that 'volary attribute' has written");
  addExcludeOptions(addAnalysisOptions(command))
    .option('--weighted', 'sum probabilities instead of counting rows')
    .option('--json', 'print rates.json instead of the summary')
    .action((folder: string, options: RatesCommandOptions) => runCommand('rates', async (io) => {
      const { runRates } = await import('./run-rates.js');
      return runRates(io, folder, options);
    }));
  addExamples(command, [
    'volary rates result',
    'volary rates result --utc-offset +02:00 --threshold 0.9 --days-after fitted=4,battery=1',
    'volary rates result --weighted --bout-gap 0.15',
  ]);
}
