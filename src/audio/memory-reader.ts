import type { AudioInfo, AudioReader } from './types.js';

/**
 * A reader over samples that are already in memory, one Float32Array of equal length per channel.
 * @example const reader = createMemoryReader('B1', [samples], 48000);
 */
export function createMemoryReader(name: string, channels: readonly Float32Array[], sampleRateHz: number): AudioReader {
  const frameCount = channels[0]?.length ?? 0;
  const info: AudioInfo = {
    container: 'RIFF', sampleRateHz, channelCount: channels.length, frameCount, sampleFormat: 'float', bitsPerSample: 32, validBits: 32, warnings: [],
  };
  let nonFiniteCount = 0, replacedCounts: number[] = [];
  return {
    name,
    info,
    get nonFiniteCount() { return nonFiniteCount; },
    get replacedCounts() { return replacedCounts; },
    lostFrames: 0,
    async readFrames(startFrame, wanted, into, intoOffset = 0) {
      const count = Math.max(0, Math.min(wanted, frameCount - startFrame));
      replacedCounts = channels.map(() => 0);
      channels.forEach((samples, c) => {
        const target = into[c]!;
        for (let k = 0; k < count; k++) {
          const v = samples[startFrame + k];
          if (Number.isFinite(v)) target[intoOffset + k] = v;
          else { target[intoOffset + k] = 0; nonFiniteCount++; replacedCounts[c]++; }
        }
      });
      return count;
    },
    async close() { /* nothing is held */ },
  };
}
