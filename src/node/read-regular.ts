import { constants } from 'node:fs';
import { open, stat } from 'node:fs/promises';

/**
 * Reads a whole file of our own making. Whatever else has its name (a pipe, a device, a folder) is refused without waiting for it.
 * @throws what the file system says, or an Error with the code 'not a regular file'
 */
export async function readRegularFile(path: string): Promise<Buffer> {
  requireRegular(await stat(path));
  // A pipe could have taken the file's place since: never wait for its other end.
  const handle = await open(path, constants.O_RDONLY | (constants.O_NONBLOCK ?? 0));
  try {
    requireRegular(await handle.stat());
    return await handle.readFile();
  } finally {
    await handle.close();
  }
}

function requireRegular(found: { isFile(): boolean }): void {
  if (!found.isFile()) throw Object.assign(new Error('not a regular file'), { code: 'not a regular file' });
}
