import type { ByteSource } from './types.js';

/** A ByteSource over bytes in memory (clips, tests, a file dropped into a page). */
export function createBytesSource(bytes: Uint8Array, name: string): ByteSource {
  return {
    name,
    sizeBytes: bytes.length,
    async read(offsetBytes, lengthBytes) {
      return bytes.subarray(offsetBytes, Math.min(bytes.length, offsetBytes + lengthBytes));
    },
    async close() {},
  };
}
