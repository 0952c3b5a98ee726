import { InvalidArgumentError } from 'commander';
import type { Command } from 'commander';
import { runCommand } from '../io.js';
import { addExamples, parseNumber, parseUtcOffset, parseWhole } from '../options.js';

export interface NetworkCommandOptions {
  window: [number, number];
  threshold: number;
  block: number;
  jitter: number;
  surrogates: number;
  draws: number;
  seed: number;
  sharedGap: number;
  falseShare: number;
  leastRatio: number;
  leastRateRatio: number;
  missed: number;
  bin: number;
  utcOffset: number;
  bonds?: string;
  compare?: string;
  out?: string;
  force?: boolean;
}

/** Adds `network`: who replies to whom? */
export function addNetworkCommand(program: Command): void {
  const command = program.command('network')
    .description('build the directed network of calls and replies, from the tables alone')
    .argument('<dir>', "folder that 'volary attribute' has written; an excluded.csv in it is heeded")
    .option('--window <s>', 'a reply starts so long after the start of a call, from-to', parseWindow, [0.05, 0.5])
    .option('--threshold <p>', 'use calls of at least this probability', parseNumber(0, 1), 0.95)
    .option('--block <s>', 'longest block of the circular shifts', parseNumber(1), 600)
    .option('--jitter <s>', 'cell within which bouts are moved; four times the end of the window or more', parseNumber(0.01), 2)
    .option('--surrogates <n>', 'surrogates of each kind', parseWhole(19, 1_000_000), 2000)
    .option('--draws <n>', 'draws of who made each call, for the intervals', parseWhole(20, 100_000), 100)
    .option('--seed <n>', 'seed of all random numbers', parseWhole(0, 2 ** 32 - 1), 1)
    .option('--shared-gap <s>', 'overlapping calls of two birds that start nearer than this are one sound heard twice', parseNumber(0, 10), 0.03)
    .option('--false-share <q>', 'expected share of false edges among edges', parseNumber(0.0001, 0.5), 0.05)
    .option('--least-ratio <x>', 'an edge needs so many times the replies of chance', parseNumber(1, 100), 1.2)
    .option('--least-rate-ratio <x>', 'the regression confirms an edge where its rate ratio is surely above this', parseNumber(1, 100), 1.5)
    .option('--missed <share>', 'share of calls that may be missing from the table: what replies over missing calls of a third bird could feign is no edge', parseNumber(0, 0.9), 0.1)
    .option('--bin <s>', 'width of a bin of the correlograms', parseNumber(0.001, 1), 0.02)
    .option('--utc-offset <hh:mm>', 'local time minus UTC, for days from midnight to midnight', parseUtcOffset, 0)
    .option('--bonds <file>', 'CSV with bird_a and bird_b: pairs whose replies are set against those of other pairs')
    .option('--compare <dir>', "another folder in which 'volary network' has run: how alike are the two?")
    .option('--out <dir>', 'folder for the results instead of <dir>')
    .option('--force', 'replace files in --out that are there')
    .option('--json', 'print network.json instead of the summary')
    .action((folder: string, options: NetworkCommandOptions) => runCommand('network', async (io) => {
      const { runNetwork } = await import('./run-network.js');
      return runNetwork(io, folder, options);
    }));
  addExamples(command, [
    'volary network result',
    'volary network result --window 0.1-0.4 --threshold 0.95 --bonds pairs.csv',
    'volary network after --compare before --out compared',
  ]);
}

function parseWindow(text: string): [number, number] {
  const found = /^\s*(\d*\.?\d+)\s*-\s*(\d*\.?\d+)\s*$/.exec(text);
  const from = Number(found?.[1]);
  const to = Number(found?.[2]);
  if (!found || !(to > from) || to > 60) throw new InvalidArgumentError('expected two numbers of seconds such as 0.05-0.5, the second larger and at most 60');
  return [from, to];
}
