import { packBytes, unpackBytes } from './pack-bytes.js';

/** Where finished work is kept between runs. Saving must be atomic: what `load` gives was saved whole. */
export interface Checkpoint {
  load(key: string): Promise<Uint8Array | undefined>;
  save(key: string, bytes: Uint8Array): Promise<void>;
}

/** Keeps nothing. */
export const noCheckpoint: Checkpoint = { load: async () => undefined, save: async () => undefined };

/** Loads the result of a step or does it and saves it. Numbers survive it exactly, so that a resumed run gives the same bytes. */
export async function resumeStep<T>(checkpoint: Checkpoint, key: string, work: () => Promise<T>): Promise<T> {
  if (checkpoint === noCheckpoint) return work();
  const found = await checkpoint.load(key);
  if (found !== undefined) return unpackBytes(found) as T;
  const value = await work();
  await checkpoint.save(key, packBytes(value));
  // What was computed and what would be loaded are the same values: not-a-number and typed arrays are kept by the packing.
  return value;
}

/** Like resumeStep for work on several cells, each of which is told of once, loaded or done. */
export async function resumeCells<T>(checkpoint: Checkpoint, key: string, cellCount: number, onCell: () => void, work: (tell: () => void) => Promise<T>): Promise<T> {
  let told = 0;
  const result = await resumeStep(checkpoint, key, () => work(() => { told++; onCell(); }));
  for (; told < cellCount; told++) onCell();
  return result;
}
