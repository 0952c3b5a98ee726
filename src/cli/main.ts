#!/usr/bin/env node
import { readFileSync } from 'node:fs';
import { Command, CommanderError } from 'commander';
import { addCheckCommand } from './commands/check.js';
import { addDraftCommand } from './commands/draft.js';
import { addSimulateCommand } from './commands/simulate.js';
import { addScoreCommand } from './commands/score.js';
import { addRefitCommand } from './commands/refit.js';
import { addReportCommand } from './commands/report.js';
import { addReviewCommand } from './commands/review.js';
import { addSampleCommand } from './commands/sample.js';
import { addAttributeCommand } from './commands/attribute.js';
import { addNetworkCommand } from './commands/network.js';
import { addSeparateCommand } from './commands/separate.js';
import { addRatesCommand } from './commands/rates.js';
import { addHabituationCommand } from './commands/habituation.js';
import { addClipsCommand } from './commands/clips.js';
import { addPlanCommand } from './commands/plan.js';
import { addWatchCommand } from './commands/watch.js';
import { EXIT, guardStreams, reportError } from './io.js';
import { addExamples } from './options.js';

/** One line per command; each loads what it needs only when it runs. */
const commands: ((program: Command) => void)[] = [
  addDraftCommand,
  addCheckCommand,
  addAttributeCommand,
  addWatchCommand,
  addSeparateCommand,
  addScoreCommand,
  addReportCommand,
  addReviewCommand,
  addSampleCommand,
  addRefitCommand,
  addNetworkCommand,
  addRatesCommand,
  addHabituationCommand,
  addClipsCommand,
  addPlanCommand,
  addSimulateCommand,
];

function createProgram(): Command {
  const { version } = JSON.parse(readFileSync(new URL('../../package.json', import.meta.url), 'utf8')) as { version: string };
  const program = new Command('volary')
    .description('Who called when: attributes calls on multi-track recordings from animal-borne radio microphones.')
    .version(version, '-V, --version', 'print the version')
    .helpOption('-h, --help', 'print this help')
    .helpCommand('help [command]', 'print the help of a command')
    .showSuggestionAfterError(true)
    .exitOverride()
    // Commander prints its own errors before it throws; here they are printed once, by reportWrongUse.
    .configureOutput({ outputError: () => {} });
  for (const add of commands) add(program);
  for (const command of program.commands) command.helpOption('-h, --help', 'print this help');
  return addExamples(program, [
    'volary draft recordings -o study.json     look at a folder and write a study to edit',
    'volary check study.json                   is every track fit to use?',
    'volary attribute study.json --out result  find every call and say who made it',
  ]);
}

/** Wrong use is one line on standard error that says where the help is. */
function reportWrongUse(error: CommanderError, argv: string[], program: Command): void {
  const named = program.commands.find((c) => argv.includes(c.name()))?.name();
  const text = error.message.replace(/^error: /, '').replace(/\s*\n\s*/g, ' ').replace(/[.]$/, '');
  process.stderr.write(`volary${named ? ` ${named}` : ''}: ${text}; see 'volary${named ? ` ${named}` : ''} --help'\n`);
}

guardStreams();
const program = createProgram();
try {
  await program.parseAsync(process.argv);
} catch (error) {
  if (!(error instanceof CommanderError)) process.exitCode = reportError('', error);
  else if (error.exitCode !== 0) {
    if (error.code !== 'commander.help') reportWrongUse(error, process.argv.slice(2), program);
    process.exitCode = EXIT.wrongUse;
  }
}
