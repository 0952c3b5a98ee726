import { Command } from 'commander';
import { vi } from 'vitest';
import { addSampleCommand } from '../../src/cli/commands/sample.js';
import { addScoreCommand } from '../../src/cli/commands/score.js';
import type { CallRow } from '../../src/schema/rows.js';

export interface CommandResult { out: string; err: string; status: number | undefined }

/** Runs a command in this process and catches what it says. Wrong use rejects with commander's error. */
export async function runCommandLine(...args: string[]): Promise<CommandResult> {
  let out = '';
  let err = '';
  const spies = [
    vi.spyOn(process.stdout, 'write').mockImplementation((text) => { out += String(text); return true; }),
    vi.spyOn(process.stderr, 'write').mockImplementation((text) => { err += String(text); return true; }),
  ];
  const [argv, exitCode] = [process.argv, process.exitCode];
  process.argv = ['node', 'volary', ...args];
  try {
    const program = new Command('volary').exitOverride();
    addScoreCommand(program);
    addSampleCommand(program);
    await program.parseAsync(process.argv);
    return { out, err, status: process.exitCode as number | undefined };
  } finally {
    process.argv = argv;
    process.exitCode = exitCode;
    for (const spy of spies) spy.mockRestore();
  }
}

export function callRow(callId: number, bird: string, onsetSec: number, offsetSec: number, probability: number): CallRow {
  return {
    callId, bird, onsetSec, offsetSec, onsetUtc: '', probability, track: 'red', levelDb: -20, snrDb: 30, peakHz: 3000, overlaps: 0,
    runnerUp: '', runnerUpProbability: NaN,
  };
}
