import { describe, expect, it } from 'vitest';
import { createRingReader, FrameRing } from '../../src/live/frame-ring.js';

/** Bytes of frames [from, to): two channels of 16 bits, the frame's number and its negative. */
function makeBytes(from: number, to: number): Uint8Array {
  return new Uint8Array(Int16Array.from({ length: 2 * (to - from) }, (_, i) => (i % 2 === 0 ? 1 : -1) * (from + (i >> 1))).buffer);
}

describe('ring of frames', () => {
  it('gives back what was pushed in pieces of any size, whatever was released, and holds no more than it may', () => {
    const ring = new FrameRing(2, 's16', 50);
    const all = makeBytes(0, 1000);
    let pushed = 0;
    for (let n = 0; pushed < all.length; n++) {
      pushed += ring.push(all.subarray(pushed, pushed + 1 + ((n * 37) % 71)));
      expect(ring.endFrame - ring.firstFrame).toBeLessThanOrEqual(50);
      const count = ring.endFrame - ring.firstFrame;
      const out = new Uint8Array(count * 4);
      ring.read(ring.firstFrame, out);
      expect(Buffer.compare(out, all.subarray(ring.firstFrame * 4, ring.endFrame * 4))).toBe(0);
      if (ring.roomBytes < 80) ring.release(ring.firstFrame + 7);
    }
    expect(ring.endFrame).toBe(1000);
  });

  it('takes only what there is room for', () => {
    const ring = new FrameRing(2, 's16', 10);
    expect(ring.push(makeBytes(0, 25))).toBe(40);
    expect(ring.push(makeBytes(10, 11))).toBe(0);
    ring.release(4);
    expect(ring.push(makeBytes(10, 25))).toBe(16);
    expect([ring.firstFrame, ring.endFrame]).toEqual([4, 14]);
    ring.release(2);
    expect(ring.firstFrame).toBe(4);
  });

  it('refuses frames that are gone and reads zero before its origin and after its end', () => {
    const ring = new FrameRing(2, 's16', 10, 100);
    ring.push(makeBytes(100, 106));
    const out = new Uint8Array(4 * 10).fill(9);
    ring.read(98, out);
    expect(new Int16Array(out.buffer)).toEqual(Int16Array.from([0, 0, 0, 0, 100, -100, 101, -101, 102, -102, 103, -103, 104, -104, 105, -105, 0, 0, 0, 0]));
    ring.release(103);
    expect(() => ring.read(102, out)).toThrow('frames were asked for that are gone');
    ring.read(103, out.subarray(0, 12));
    expect(new Int16Array(out.buffer, 0, 6)).toEqual(Int16Array.from([103, -103, 104, -104, 105, -105]));
  });

  it('reads as a file of samples; floats that are no numbers read zero and are counted', async () => {
    const ring = new FrameRing(2, 'f32', 8);
    ring.push(new Uint8Array(Float32Array.from([0.5, -0.5, NaN, 0.25, Infinity, 1]).buffer));
    const reader = createRingReader('x', ring, 48000);
    expect(reader.pcmLayout).toBeUndefined();
    const into = [new Float32Array(3), new Float32Array(3)];
    expect(await reader.readFrames(0, 3, into)).toBe(3);
    expect(into).toEqual([Float32Array.from([0.5, 0, 0]), Float32Array.from([-0.5, 0.25, 1])]);
    expect(reader.nonFiniteCount).toBe(2);
    expect(createRingReader('y', new FrameRing(3, 's24', 8), 48000).pcmLayout).toEqual({ coding: 's24', sampleBytes: 3, blockBytes: 9 });
  });
});
