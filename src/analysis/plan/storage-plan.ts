export interface StorageInput {
  tracks: number;
  tracksPerFile: number;
  sampleRateHz: number;
  bits: number;
  days: number;
  hoursPerDay: number;
}

export interface StoragePlan {
  /** Samples alone, uncompressed, bytes. */
  bytes: number;
  bytesPerDay: number;
  /** Hours after which one WAVE file reaches its largest size. */
  hoursPerWaveFile: number;
}

/** Largest RIFF payload: its size field has 32 bits (Microsoft/IBM, 'Multimedia Programming Interface and Data Specifications 1.0', 1991). */
const MOST_RIFF_BYTES = 2 ** 32 - 1;

/** Space that uncompressed recordings take. */
export function planStorage(input: StorageInput): StoragePlan {
  const bytesPerSec = (input.sampleRateHz * input.bits) / 8;
  const bytesPerDay = input.tracks * bytesPerSec * input.hoursPerDay * 3600;
  return { bytes: bytesPerDay * input.days, bytesPerDay, hoursPerWaveFile: MOST_RIFF_BYTES / (bytesPerSec * Math.min(input.tracksPerFile, input.tracks)) / 3600 };
}
