import { readAscii, viewOf } from './byte-window.js';
import type { BroadcastTime } from './types.js';

/** Bytes of a bext payload up to and with TimeReference. */
export const BEXT_TIME_BYTES = 346;

/**
 * Reads date, time and time reference of a 'bext' payload (EBU Tech 3285 v2: date at 320, time at 330, TimeReference at 338).
 * @returns undefined where the payload is too short or its time reference cannot be a count of samples
 */
export function parseBroadcastTime(bytes: Uint8Array, sampleRateHz: number, warnings: string[]): BroadcastTime | undefined {
  if (bytes.length < BEXT_TIME_BYTES) {
    warnings.push(`broadcast chunk has ${bytes.length} bytes, expected at least ${BEXT_TIME_BYTES}; its time is ignored`);
    return undefined;
  }
  const reference = viewOf(bytes).getBigUint64(338, true);
  if (reference > BigInt(Number.MAX_SAFE_INTEGER)) {
    warnings.push(`broadcast chunk declares a time reference of ${reference} samples, which no clock reaches; its time is ignored`);
    return undefined;
  }
  const timeReference = Number(reference);
  if (timeReference >= 86400 * sampleRateHz) {
    warnings.push(`broadcast chunk declares ${timeReference} samples since midnight, more than the ${86400 * sampleRateHz} of one day; kept as written`);
  }
  return { originationDate: readField(bytes, 320, 10), originationTime: readField(bytes, 330, 8), timeReference };
}

/** Text up to the first NUL; anything but printable ASCII makes the field worthless and gives ''. */
function readField(bytes: Uint8Array, offset: number, length: number): string {
  const text = readAscii(bytes, offset, length).split('\0', 1)[0].trim();
  return /^[\x20-\x7e]*$/.test(text) ? text : '';
}
