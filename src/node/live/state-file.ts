import { createHash } from 'node:crypto';
import { readFile } from 'node:fs/promises';
import { join } from 'node:path';
import type { EngineState } from '../../live/live-engine.js';
import type { LiveSetup } from '../../live/live-setup.js';
import { packBytes, unpackBytes } from '../../pipeline/pack-bytes.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import { readKernelsFile } from '../kernels-file.js';
import { readVersion } from '../read-version.js';
import { writeFileAtomic } from '../write-files.js';
import type { SoundDigest } from './sound-digest.js';

export const STATE_NAME = 'watch-state.bin';

/** What a run that goes on has to know: whose state it is, how far its tables were, what it had learned. */
export interface SavedRun {
  header: Record<string, unknown>;
  startUtc?: string;
  callBytes: number;
  warningBytes: number;
  /** Absent while the warm-up was not over. */
  engine?: EngineState;
  /** With `engine`: what each file was that it had heard. Absent for a pipe. */
  sound?: SoundDigest[];
}

/** What must be the same for a state to serve: the program and what it was told. */
export function describeRun(setup: LiveSetup, warmUpSec: number): Record<string, unknown> {
  return {
    schema: 5, volary: readVersion(), kernelHash: createHash('sha256').update(readKernelsFile()).digest('hex'), warmUpSec,
    sampleRateHz: setup.sampleRateHz, recorders: setup.recorders, inputs: setup.inputs, tracks: setup.tracks, originFrames: setup.originFrames, request: setup.request,
  };
}

/**
 * Loads the state in a folder; undefined where there is none.
 * @throws VolaryError 'stale' for one that is damaged or was made otherwise
 */
export async function loadState(folder: string, header: Record<string, unknown>): Promise<SavedRun | undefined> {
  const path = join(folder, STATE_NAME);
  const bytes = await readFile(path).catch(() => undefined);
  if (bytes === undefined) return undefined;
  const refuse = (what: string, got?: string, expected?: string): never => {
    throw new VolaryError('stale', { where: quoteName(path), what, got, expected, mend: 'use --force to start anew' });
  };
  let saved: SavedRun | undefined;
  try {
    saved = unpackBytes(bytes) as SavedRun;
  } catch {
    return refuse('is damaged');
  }
  for (const key of Object.keys(header)) {
    const [got, expected] = [JSON.stringify(saved.header?.[key]) ?? 'nothing', JSON.stringify(header[key]) ?? 'nothing'];
    if (got !== expected) refuse(`${key} differs from what this state was made with`, cut(got), cut(expected));
  }
  return saved;
}

export function saveState(folder: string, run: SavedRun): Promise<void> {
  return writeFileAtomic(join(folder, STATE_NAME), packBytes(run), { overwrite: true });
}

function cut(text: string): string {
  return text.length > 80 ? `${text.slice(0, 77)}...` : text;
}
