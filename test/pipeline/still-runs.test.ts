import { describe, expect, it } from 'vitest';
import { encodeFrames, type WavEncoding } from '../../src/audio/wav-writer.js';
import { joinStill, StillFinder, type StillRun } from '../../src/pipeline/still-runs.js';
import type { Gap, PcmRun } from '../../src/study/study-audio.js';
import { makeRandom } from '../model/clock-synthetic.js';
import { makeNoise } from '../study/make-wav.js';

const RATE = 1000;
const CODINGS = { pcm16: ['s16', 2], pcm24: ['s24', 3], float32: ['f32', 4] } as const;

/** Finds the still stretches of tracks cell by cell, each cell in chunks. */
function find(tracks: Float32Array[], encoding: 'pcm16' | 'pcm24' | 'float32', cellFrames: number, chunkFrames: number, gaps: Gap[] = []): StillRun[] {
  const length = tracks[0].length, finder = new StillFinder(tracks.length, RATE), found: StillRun[] = [];
  const [coding, sampleBytes] = CODINGS[encoding], stride = sampleBytes * tracks.length;
  for (let cell = 0; cell < length; cell += cellFrames) {
    const end = Math.min(length, cell + cellFrames);
    finder.start(cell, end);
    for (let at = cell; at < end; at += chunkFrames) {
      const count = Math.min(chunkFrames, end - at);
      const bytes = encodeFrames(tracks.map((t) => t.subarray(at, at + count)), encoding as WavEncoding);
      const runs = tracks.map((_, trackIndex): PcmRun => ({ trackIndex, offset: 0, frameCount: count, byteOffset: trackIndex * sampleBytes, strideBytes: stride, coding }));
      finder.take(bytes, runs, gaps.filter((g) => g.startFrame < at + count && g.startFrame + g.frameCount > at), at);
    }
    found.push(...finder.finish());
  }
  return joinStill(found, RATE);
}

/** All stretches of at least a second without a change, sample by sample. */
function findPlainly(tracks: Float32Array[]): StillRun[] {
  return tracks.flatMap((x, trackIndex) => {
    const out: StillRun[] = [];
    for (let i = 0, from = 0; i <= x.length; i++) {
      if (i < x.length && x[i] === x[from]) continue;
      if (i - from >= RATE) out.push({ trackIndex, startFrame: from, frameCount: i - from });
      from = i;
    }
    return out;
  });
}

describe('stretches in which a track stands still', () => {
  it.each(['pcm16', 'pcm24', 'float32'] as const)('are found in %s to the sample, whatever they are cut into', (encoding) => {
    const { uniform } = makeRandom(3);
    const tracks = [1, 2, 3].map((seed) => makeNoise(20_000, seed, 0.3));
    for (const x of tracks) {
      for (let n = 0; n < 6; n++) {
        const from = Math.floor(20_000 * uniform()), value = n % 2 ? 0 : 0.25 + n / 64;
        x.fill(value, from, from + Math.floor(700 + 1800 * uniform()));
      }
    }
    tracks[1].fill(0, 0, 1500);
    tracks[2].fill(0, 18_700);
    tracks[2][18_699] = 0.1;
    const coarse = tracks.map((x) => x.map((v) => Math.round(v * 32768) / 32768));
    const wanted = findPlainly(coarse);
    expect(wanted.length).toBeGreaterThan(6);
    for (const [cell, chunk] of [[20_000, 20_000], [20_000, 2048], [5000, 1300], [6000, 500]]) expect(find(coarse, encoding, cell, chunk), `${cell} ${chunk}`).toEqual(wanted);
  });

  it('are none in sound, in short silence, or in gaps, where there are no samples', () => {
    const x = makeNoise(8000, 5, 0.3);
    x.fill(0, 1000, 1999);
    x.fill(0, 3000, 6000);
    const gap = (startFrame: number, frameCount: number, trackIndex = 0): Gap => ({ trackIndex, startFrame, frameCount, reason: 'lost' });
    expect(find([x], 'float32', 4000, 1000)).toEqual([{ trackIndex: 0, startFrame: 3000, frameCount: 3000 }]);
    expect(find([x], 'float32', 4000, 1000, [gap(3000, 3000)])).toEqual([]);
    expect(find([x], 'float32', 4000, 1000, [gap(3000, 1500)])).toEqual([{ trackIndex: 0, startFrame: 4500, frameCount: 1500 }]);
    expect(find([x, makeNoise(8000, 6)], 'float32', 8000, 8000, [gap(0, 8000, 1)])).toEqual([{ trackIndex: 0, startFrame: 3000, frameCount: 3000 }]);
  });

  it('are a whole track that is silent', () => {
    expect(find([new Float32Array(9500)], 'pcm16', 2000, 700)).toEqual([{ trackIndex: 0, startFrame: 0, frameCount: 9500 }]);
  });
});
