// Options of the benches: a wrong one ends in one line that names the right ones, not in a stack trace.
import { basename } from 'node:path';
import { parseArgs } from 'node:util';

/** As `parseArgs` of node:util, but ends the program with status 2 where the command line does not fit. */
export function readOptions(config) {
  try {
    return parseArgs(config);
  } catch (error) {
    const name = basename(process.argv[1] ?? 'bench', '.mjs'), known = Object.keys(config.options ?? {}).map((key) => `--${key}`).join(', ');
    process.stderr.write(`${name}: ${error.message.split('. ')[0]}; expected ${known || 'no options'}\n`);
    return process.exit(2);
  }
}
