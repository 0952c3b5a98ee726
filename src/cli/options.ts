import { InvalidArgumentError } from 'commander';
import type { Command } from 'commander';

/** Adds examples to a command's help; every command has at least one. */
export function addExamples(command: Command, examples: string[]): Command {
  return command.addHelpText('after', `\nExample${examples.length > 1 ? 's' : ''}:\n${examples.map((e) => `  ${e}`).join('\n')}`);
}

/** Parses an option that must be a whole number of at least `least`. */
export function parseWhole(least: number, most = Number.MAX_SAFE_INTEGER): (text: string) => number {
  return (text) => {
    const value = Number(text);
    if (!/^[+-]?\d+$/.test(text) || value < least || value > most) {
      throw new InvalidArgumentError(`expected a whole number ${most === Number.MAX_SAFE_INTEGER ? `of at least ${least}` : `from ${least} to ${most}`}`);
    }
    return value;
  };
}

/** Parses an option that must be a number from `least` to `most`, both included. */
export function parseNumber(least = -Infinity, most = Infinity): (text: string) => number {
  return (text) => {
    const value = text.trim() === '' ? NaN : Number(text);
    if (!Number.isFinite(value) || value < least || value > most) {
      const range = Number.isFinite(most) ? ` from ${least} to ${most}` : Number.isFinite(least) ? ` of at least ${least}` : '';
      throw new InvalidArgumentError(`expected a number${range}`);
    }
    return value;
  };
}

/** Parses an offset from UTC such as +02:00, -0330 or Z into minutes. */
export function parseUtcOffset(text: string): number {
  const found = /^(?:Z|([+-])(\d{2}):?(\d{2})?)$/.exec(text.trim());
  const minutes = found?.[1] ? Number(found[2]) * 60 + Number(found[3] ?? 0) : 0;
  if (!found || minutes > 14 * 60 || Number(found[3] ?? 0) > 59) throw new InvalidArgumentError('expected an offset such as +02:00');
  return found[1] === '-' ? -minutes : minutes;
}
