import { InvalidArgumentError } from 'commander';
import type { Command } from 'commander';
import { HABIT_MEASURES } from '../../schema/analysis-rows.js';
import type { HabitMeasure } from '../../schema/analysis-rows.js';
import { addAnalysisOptions, parseDaysAfter } from '../analysis-options.js';
import { runCommand } from '../io.js';
import { addExamples, parseNumber } from '../options.js';
import type { AnalysisOptions } from './read-analysis.js';

export interface HabituationCommandOptions extends AnalysisOptions {
  margin?: number;
  alpha: number;
  testDays?: ReturnType<typeof parseDaysAfter>;
  baseline?: [number, number];
  slotHours: number;
  movement?: string;
  measures?: HabitMeasure[];
  force?: boolean;
}

/** Adds `habituation`: from which day on can data be used? */
export function addHabituationCommand(program: Command): void {
  const command = program.command('habituation')
    .description('compare the days after every handling with later days at the same hours: call rate, call timing and movement; writes habituation.csv, habituation.json and excluded.csv to DIR')
    .argument('<dir>', "folder that 'volary attribute' has written");
  addAnalysisOptions(command)
    .option('--margin <percent>', 'largest change that still counts as back to baseline, such as 20; without it nothing is claimed to be back', parsePercent)
    .option('--alpha <p>', 'level of the tests', parseNumber(0.0001, 0.5), 0.05)
    .option('--test-days <days>', 'days after each kind of handling that are compared (default fitted=5,battery=2,other=2); what lies later is baseline', parseTestDays)
    .option('--baseline <from-to>', "baseline in days since the study's start, such as 8-12", parseBaseline)
    .option('--slot-hours <h>', 'length of the spans compared at the same hours of the day: 1, 2, 3, 4, 6, 8 or 12', parseSlot, 1)
    .option('--movement <file>', 'values of a movement sensor: CSV with bird, t_s and value; in place of the body noise of the tags')
    .option('--measures <names>', 'what must be back to baseline: calls, interval, timing, movement (default all that is known)', parseMeasures)
    .option('--force', 'replace an excluded.csv that was changed by hand')
    .option('--json', 'print habituation.json instead of the summary')
    .action((folder: string, options: HabituationCommandOptions) => runCommand('habituation', async (io) => {
      const { runHabituation } = await import('./run-habituation.js');
      return runHabituation(io, folder, options);
    }));
  addExamples(command, [
    'volary habituation result --margin 20',
    'volary habituation result --margin 25 --test-days fitted=7,battery=3 --baseline 9-14',
    'volary habituation result --movement accelerometer.csv',
  ]);
}

function parsePercent(text: string): number {
  const value = Number(text.replace(/\s*%$/, ''));
  if (text.trim() === '' || !(value > 0 && value < 100)) throw new InvalidArgumentError('expected a percentage above 0 and below 100');
  return value / 100;
}

function parseTestDays(text: string): ReturnType<typeof parseDaysAfter> {
  const days = parseDaysAfter(text);
  if (Object.values(days).some((d) => !Number.isInteger(d) || d < 1)) throw new InvalidArgumentError('expected whole days of at least 1, such as fitted=5,battery=2');
  return days;
}

function parseBaseline(text: string): [number, number] {
  const found = /^(\d+\.?\d*)-(\d+\.?\d*)$/.exec(text.trim());
  if (!found || Number(found[1]) >= Number(found[2])) throw new InvalidArgumentError('expected two days with the smaller first, such as 8-12');
  return [Number(found[1]), Number(found[2])];
}

function parseSlot(text: string): number {
  if (!/^(1|2|3|4|6|8|12)$/.test(text)) throw new InvalidArgumentError('expected 1, 2, 3, 4, 6, 8 or 12');
  return Number(text);
}

function parseMeasures(text: string): HabitMeasure[] {
  const names = [...new Set(text.split(',').map((n) => n.trim()))] as HabitMeasure[];
  if (names.some((n) => !HABIT_MEASURES.includes(n))) throw new InvalidArgumentError(`expected some of ${HABIT_MEASURES.join(',')}`);
  return names;
}
