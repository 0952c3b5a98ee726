/**
 * Between planar tracks and lanes: four rows of four samples are transposed to four vectors, one per sample.
 *
 * loadLanes: lanes[i] = window[i] * samples(startFrame + i) of tracks firstTrack .. firstTrack+3, i = 0 .. windowFrames-1, then zeros
 * up to n. Frames outside [0, frameCount) and tracks >= trackCount read as 0; nothing outside the tracks is touched.
 *   signalPtr read, 4-aligned; windowPtr read f32[windowFrames], or 0 for ones; lanesPtr written v128[n], 16-aligned.
 * Source: common practice. Plain reference: test/reference/stft.ts.
 */

/** Reads one sample, 0 outside the track. */
// @ts-ignore: decorator
@inline
function readSample(signalPtr: usize, strideFrames: i32, track: i32, trackCount: i32, frame: i32, frameCount: i32): f32 {
  if (track >= trackCount || frame < 0 || frame >= frameCount) return 0;
  return load<f32>(signalPtr + ((<usize>track * <usize>strideFrames + <usize>frame) << 2));
}

export function loadLanes(
  signalPtr: usize, strideFrames: i32, firstTrack: i32, trackCount: i32, startFrame: i32, frameCount: i32,
  windowPtr: usize, windowFrames: i32, n: i32, lanesPtr: usize,
): void {
  const isInside = startFrame >= 0 && startFrame <= frameCount - windowFrames;
  const whole = isInside ? windowFrames & ~3 : 0;
  if (whole > 0) loadWhole(signalPtr, strideFrames, firstTrack, trackCount, startFrame, windowPtr, whole, lanesPtr);
  for (let i = whole; i < windowFrames; i++) {
    const f = startFrame + i;
    let v = f32x4.splat(readSample(signalPtr, strideFrames, firstTrack, trackCount, f, frameCount));
    v = f32x4.replace_lane(v, 1, readSample(signalPtr, strideFrames, firstTrack + 1, trackCount, f, frameCount));
    v = f32x4.replace_lane(v, 2, readSample(signalPtr, strideFrames, firstTrack + 2, trackCount, f, frameCount));
    v = f32x4.replace_lane(v, 3, readSample(signalPtr, strideFrames, firstTrack + 3, trackCount, f, frameCount));
    if (windowPtr) v = f32x4.mul(v, v128.load_splat<f32>(windowPtr + (<usize>i << 2)));
    v128.store(lanesPtr + (<usize>i << 4), v);
  }
  memory.fill(lanesPtr + (<usize>windowFrames << 4), 0, <usize>(n - windowFrames) << 4);
}

function loadWhole(
  signalPtr: usize, strideFrames: i32, firstTrack: i32, trackCount: i32, startFrame: i32, windowPtr: usize, count: i32, lanesPtr: usize,
): void {
  const stride = <usize>strideFrames << 2;
  const p0 = signalPtr + <usize>firstTrack * stride + (<usize>startFrame << 2);
  // A track that does not exist reads the first one and is masked to zero.
  const left = trackCount - firstTrack;
  const p1 = left > 1 ? p0 + stride : p0, p2 = left > 2 ? p0 + 2 * stride : p0, p3 = left > 3 ? p0 + 3 * stride : p0;
  const m1 = i32x4.splat(left > 1 ? -1 : 0), m2 = i32x4.splat(left > 2 ? -1 : 0), m3 = i32x4.splat(left > 3 ? -1 : 0);
  const one = f32x4.splat(1);
  let o = lanesPtr;
  const end = <usize>count << 2;
  for (let i: usize = 0; i < end; i += 16) {
    const w = windowPtr ? v128.load(windowPtr + i) : one;
    const r0 = f32x4.mul(v128.load(p0 + i), w);
    const r1 = f32x4.mul(v128.and(v128.load(p1 + i), m1), w);
    const r2 = f32x4.mul(v128.and(v128.load(p2 + i), m2), w);
    const r3 = f32x4.mul(v128.and(v128.load(p3 + i), m3), w);
    storeTransposed(o, r0, r1, r2, r3);
    o += 64;
  }
}

/** Writes the transpose of four rows as four consecutive vectors. */
// @ts-ignore: decorator
@inline
export function storeTransposed(o: usize, r0: v128, r1: v128, r2: v128, r3: v128): void {
  const a = v128.shuffle<f32>(r0, r1, 0, 4, 1, 5), b = v128.shuffle<f32>(r2, r3, 0, 4, 1, 5);
  const c = v128.shuffle<f32>(r0, r1, 2, 6, 3, 7), d = v128.shuffle<f32>(r2, r3, 2, 6, 3, 7);
  v128.store(o, v128.shuffle<f32>(a, b, 0, 1, 4, 5));
  v128.store(o, v128.shuffle<f32>(a, b, 2, 3, 6, 7), 16);
  v128.store(o, v128.shuffle<f32>(c, d, 0, 1, 4, 5), 32);
  v128.store(o, v128.shuffle<f32>(c, d, 2, 3, 6, 7), 48);
}
