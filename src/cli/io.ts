import { VolaryError } from '../schema/errors.js';
import { startProgress } from './progress.js';
import type { Progress } from './progress.js';

/** What a command may use to speak: results on standard output, everything else on standard error. */
export interface CommandIo {
  /** Writes a line of result to standard output. */
  out(text: string): void;
  /** Writes a line for the person to standard error. */
  note(text: string): void;
  /**
   * Shows progress on standard error, first after 2 s. `total` and `done` in any unit; `unit` is what one is called
   * ('audio_s' = seconds of sound, shown as a multiple of real time).
   */
  progress(label: string, total: number, unit?: string): Progress;
  /** True where the user asked for an answer that a program reads. */
  readonly json: boolean;
  /** Aborted when the user interrupts. */
  readonly signal: AbortSignal;
  /** From now on the first interrupt only calls `stop`, for a command that is ended that way; a second one ends it at once. */
  endGently(stop: () => void): void;
}

/** Exit statuses shared by all commands. */
export const EXIT = { done: 0, notFit: 1, wrongUse: 2, interrupted: 130, terminated: 143 } as const;

/**
 * Runs the action of a command and sets `process.exitCode` to the number it returns: 0 done, 1 the data is not fit, 2 wrong use.
 * A VolaryError becomes one line `volary <name>: ...` on standard error; anything else is an internal error, shown with its stack
 * only when the environment has VOLARY_TRACE=1.
 * @example program.command('tell').action(() => runCommand('tell', async (io) => { io.out('done'); return 0; }))
 */
export async function runCommand(name: string, action: (io: CommandIo) => Promise<number>): Promise<void> {
  const aborter = new AbortController();
  let current: Progress | undefined;
  let stopGently: (() => void) | undefined;
  const interrupt = (signal: NodeJS.Signals): void => {
    const stop = stopGently;
    stopGently = undefined;
    if (stop) return stop();
    current?.end();
    aborter.abort();
    writeError(`volary ${name}: interrupted`);
    process.exit(signal === 'SIGTERM' ? EXIT.terminated : EXIT.interrupted);
  };
  process.on('SIGINT', interrupt);
  process.on('SIGTERM', interrupt);
  const io: CommandIo = {
    json: asksForJson(process.argv),
    signal: aborter.signal,
    endGently: (stop) => { stopGently = stop; },
    out: (text) => writeOut(text),
    note: (text) => { current?.clear(); writeError(text); },
    progress: (label, total, unit = '') => { current?.end(); return (current = startProgress(label, total, unit)); },
  };
  try {
    process.exitCode = await action(io);
  } catch (error) {
    current?.end();
    process.exitCode = reportError(name, error);
  } finally {
    current?.end();
    process.removeListener('SIGINT', interrupt);
    process.removeListener('SIGTERM', interrupt);
  }
}

/** Writes the one line that an error is worth to standard error and returns the exit status it stands for. */
export function reportError(name: string, error: unknown): number {
  const prefix = name ? `volary ${name}` : 'volary';
  if (process.env.VOLARY_TRACE === '1' && error instanceof Error) writeError(error.stack ?? error.message);
  if (error instanceof VolaryError) {
    writeError(`${prefix}: ${error.message}`);
    if (error.code === 'bad-option') return EXIT.wrongUse;
    return error.code === 'interrupted' ? EXIT.interrupted : EXIT.notFit;
  }
  writeError(`${prefix}: ${describeUnexpected(error)}`);
  return EXIT.notFit;
}

/** Keeps a closed pipe (`volary ... | head`) from ending a command half way: what nobody reads any more is dropped. */
export function guardStreams(): void {
  process.stdout.on('error', (error: NodeJS.ErrnoException) => {
    if (error.code === 'EPIPE') { isOutClosed = true; return; }
    writeError(`volary: cannot write to standard output; got ${error.code ?? error.message}`);
    process.exit(EXIT.notFit);
  });
  process.stderr.on('error', () => { isErrorClosed = true; });
  const die = (error: unknown): void => { process.exit(reportError('', error)); };
  process.on('uncaughtException', die);
  process.on('unhandledRejection', die);
}

let isOutClosed = false;
let isErrorClosed = false;

function writeOut(text: string): void {
  if (!isOutClosed) process.stdout.write(`${text}\n`);
}

function writeError(text: string): void {
  if (!isErrorClosed) process.stderr.write(`${text}\n`);
}

/** Errors of the operating system are the user's business (disk full, no permission), the rest is ours. */
function describeUnexpected(error: unknown): string {
  const system = error as NodeJS.ErrnoException;
  const text = (error instanceof Error ? error.message : String(error)).replace(/\s+/g, ' ').trim();
  const reasons: Record<string, string> = {
    ENOSPC: 'no space left on the disk', EACCES: 'permission denied', EPERM: 'permission denied', EROFS: 'the disk is read-only',
    ENOENT: 'no such file or folder', EMFILE: 'too many open files', EIO: 'the disk reports an error',
  };
  const reason = system?.code ? reasons[system.code] : undefined;
  if (reason) return system.path ? `${JSON.stringify(system.path)}: ${reason}` : reason;
  return `internal error ${text || 'without a message'}: please report`;
}

function asksForJson(argv: string[]): boolean {
  const end = argv.indexOf('--');
  return (end < 0 ? argv : argv.slice(0, end)).includes('--json');
}
