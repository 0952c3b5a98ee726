import { packBytes, unpackBytes } from './pack-bytes.js';

/** Where finished work is kept between runs. Saving must be atomic: what `load` gives was saved whole. */
export interface Checkpoint {
  load(key: string): Promise<Uint8Array | undefined>;
  save(key: string, bytes: Uint8Array): Promise<void>;
}

/** Keeps nothing. */
export const noCheckpoint: Checkpoint = { load: async () => undefined, save: async () => undefined };

/** Told once for every cell that is done; `isUnread` where a recording could not be read meanwhile, so that the result lacks what a later run may find. */
export type TellCell = (isUnread?: boolean) => void;

/**
 * Loads the result of a step or does it and saves it. Numbers survive it exactly, so that a resumed run gives the same bytes.
 * @param work may call `spoil`: then its result serves this run alone and is not saved
 */
export async function resumeStep<T>(checkpoint: Checkpoint, key: string, work: (spoil: () => void) => Promise<T>): Promise<T> {
  if (checkpoint === noCheckpoint) return work(() => undefined);
  const found = await checkpoint.load(key);
  if (found !== undefined) return unpackBytes(found) as T;
  let isWhole = true;
  const value = await work(() => { isWhole = false; });
  if (isWhole) await checkpoint.save(key, packBytes(value));
  // What was computed and what would be loaded are the same values: not-a-number and typed arrays are kept by the packing.
  return value;
}

/**
 * Like resumeStep for work on several cells, each of which is told of once, loaded or done. A disk that fails for a moment must not become
 * evidence of silence: where a cell could not read its recordings, nothing is saved, and `onUnread` is told.
 */
export async function resumeCells<T>(
  checkpoint: Checkpoint, key: string, cellCount: number, onCell: () => void, work: (tell: TellCell) => Promise<T>, onUnread?: () => void,
): Promise<T> {
  let told = 0;
  const result = await resumeStep(checkpoint, key, (spoil) => work((isUnread) => {
    told++;
    if (isUnread) { spoil(); onUnread?.(); }
    onCell();
  }));
  for (; told < cellCount; told++) onCell();
  return result;
}
