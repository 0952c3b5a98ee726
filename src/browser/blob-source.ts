import { quoteName, VolaryError } from '../schema/errors.js';
import type { ByteSource } from '../audio/types.js';

/**
 * Random reads from a Blob or a File that a person chose or dropped; only the slices asked for are loaded.
 * @throws VolaryError 'unreadable' from `read` when the browser cannot read on, as when the file changed on disk
 */
export function createBlobSource(blob: Blob, name: string = blob instanceof File ? blob.name : 'blob'): ByteSource {
  return {
    name,
    sizeBytes: blob.size,
    async read(offsetBytes, lengthBytes) {
      try {
        const slice = blob.slice(offsetBytes, Math.min(blob.size, offsetBytes + lengthBytes));
        return new Uint8Array(await slice.arrayBuffer());
      } catch (error) {
        const got = error instanceof Error ? error.message : String(error);
        throw new VolaryError('unreadable', { what: 'cannot be read', where: quoteName(name), got, mend: 'choose the file again if it changed on disk' }, { cause: error });
      }
    },
    async close() {},
  };
}
