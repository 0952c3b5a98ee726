import { InvalidArgumentError } from 'commander';
import type { Command } from 'commander';
import { parseNumber, parseUtcOffset, parseWhole } from './options.js';
import { parseDateTime } from '../numeric/date-time.js';

/** Options that every analysis of a result folder shares. */
export function addAnalysisOptions(command: Command): Command {
  return command
    .option('--handling <file>', "handling log: CSV with bird, time (ISO or seconds since the study's start) and what (fitted, battery, removed, other); by default handling.csv in DIR or beside the study")
    .option('--days-after <days>', 'days left out after each kind of handling, such as fitted=3,battery=1,other=1', parseDaysAfter)
    .option('--start <time>', "the study's start where the tables do not tell, such as 2031-05-01T06:00:00Z", parseStart)
    .option('--utc-offset <+hh:mm>', 'clock on the wall against UTC, for hours of the day', parseUtcOffset, 0)
    .option('--threshold <p>', 'count calls of at least this probability', parseNumber(0, 1), 0.5)
    .option('--bout-gap <s>', 'a song bout is a run of syllables of one bird with gaps below this', parseNumber(0, 60), 0.25)
    .option('--bout-syllables <n>', 'fewest syllables of a bout', parseWhole(2), 3);
}

/** Adds --exclude and --no-exclude. Both fill one value, so that of two the last would count without a word. */
export function addExcludeOptions(command: Command): Command {
  const given = new Set<string>();
  const note = (name: string) => (): void => {
    if (given.add(name).size > 1) command.error("error: option '--no-exclude' cannot be used with option '--exclude <file>'");
  };
  return command
    .option('--exclude <file>', 'leave out these windows (CSV with bird, start_s, end_s, reason); by default DIR/excluded.csv, else by the handling log')
    .option('--no-exclude', 'leave out nothing')
    .on('option:exclude', note('exclude'))
    .on('option:no-exclude', note('no-exclude'));
}

export function parseDaysAfter(text: string): Partial<Record<'fitted' | 'battery' | 'other', number>> {
  const days: Record<string, number> = {};
  for (const part of text.split(',')) {
    const found = /^\s*(fitted|battery|other)\s*=\s*(\d+\.?\d*|\.\d+)\s*$/.exec(part);
    if (!found || Number(found[2]) > 1000) throw new InvalidArgumentError('expected such as fitted=3,battery=1 (kinds: fitted, battery, other)');
    days[found[1]] = Number(found[2]);
  }
  return days;
}

function parseStart(text: string): string {
  if (!/^\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}(\.\d+)?Z$/.test(text) || !Number.isFinite(parseDateTime(text))) throw new InvalidArgumentError('expected a UTC time such as 2031-05-01T06:00:00Z');
  return text;
}
