import type { AudioReader } from '../audio/types.js';
import { quoteName, VolaryError } from '../schema/errors.js';
import type { FileHeader } from './timeline.js';

/** Reads the headers of many files, a few at a time; a file that fails is described, not thrown. */
export async function readHeaders(
  paths: readonly string[],
  openReader: (path: string) => Promise<AudioReader>,
  onHeader?: (done: number, total: number) => void,
): Promise<Map<string, FileHeader>> {
  const found = new Array<FileHeader>(paths.length);
  let next = 0;
  let done = 0;
  const work = async (): Promise<void> => {
    while (next < paths.length) {
      const i = next++;
      found[i] = await readHeader(paths[i], openReader);
      onHeader?.(++done, paths.length);
    }
  };
  await Promise.all(Array.from({ length: Math.min(8, paths.length) }, work));
  return new Map(paths.map((p, i) => [p, found[i]]));
}

async function readHeader(path: string, openReader: (path: string) => Promise<AudioReader>): Promise<FileHeader> {
  try {
    const reader = await openReader(path);
    const info = reader.info;
    await reader.close();
    return { info };
  } catch (error) {
    if (error instanceof VolaryError) return { failure: error.message };
    const system = error as { code?: string; message: string };
    return { failure: `${quoteName(path)}: cannot be read; got ${system.code ?? system.message}` };
  }
}
