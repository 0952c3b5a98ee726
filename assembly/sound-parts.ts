/**
 * Whether the tones of a set of bins keep their frequency, and how its beginning and what comes before compare with the rest.
 *
 * heldTones: over the set's bins (t, b) with t - lag >= startFrame and z = X[t, b] conj(X[t - lag, b]): the sum over b of |sum over t of z| divided by the sum of
 *   |z|; 0 where that is 0. Tones of one frequency, fading or not, give 1; tones that bend within lag frames, and noise, far less.
 *   spectraPtr read [frame][bin 0 .. keptBins-1][group][re x 4 | im x 4]; bins of the set below keptBins
 *   setPtr     read u32[setCount], frame * binCount + bin, ascending; scratchPtr written f64[3][binCount]
 * compareParts: with e = max(0, P - floor), A_b = sum of e over the set's frames before splitFrame, B_b = over the others, C_b = sum of e over all bins
 *   firstBin .. endBin-1 of frames beforeFrame .. startFrame-1: result[0..2] = sums of A, B, C over b, [3] = sum of sqrt(A_b B_b) / sqrt(sum A sum B), [4] = the same
 *   of C and A + B; 0 where a sum is 0 (Bhattacharyya 1943); [5] = sum of e over the set from frame startFrame + half on, [6] = before frame endFrame - half.
 *   powerPtr read f32[frame][binCount] of the track; floorPtr read f32[binCount]; scratchPtr written f64[3][binCount]; resultPtr written f64[7]
 * Sums run in f64 in the order of the set. Natural alignment; nothing may overlap. Source: definitions. Plain reference: test/reference/sound-parts.ts.
 */
import { countGroups, POINT_BYTES } from './abi';

export function heldTones(
  spectraPtr: usize, keptBins: i32, trackCount: i32, track: i32, binCount: i32, setPtr: usize, setCount: i32, startFrame: i32, lag: i32, scratchPtr: usize,
): f64 {
  const rowBytes = <usize>countGroups(trackCount) * POINT_BYTES;
  const frameBytes = rowBytes * <usize>keptBins;
  const base = spectraPtr + <usize>(track >> 2) * POINT_BYTES + (<usize>(track & 3) << 2);
  const back = frameBytes * <usize>lag;
  const imPtr = scratchPtr + (<usize>binCount << 3), sizePtr = imPtr + (<usize>binCount << 3);
  memory.fill(scratchPtr, 0, <usize>binCount * 24);
  let frame = startFrame, row = startFrame * binCount;
  for (let p = setPtr; p < setPtr + (<usize>setCount << 2); p += 4) {
    const k = load<u32>(p);
    while (k >= <u32>(row + binCount)) { row += binCount; frame++; }
    if (frame - lag < startFrame) continue;
    const bin = <usize>(k - <u32>row);
    const x = base + frameBytes * <usize>frame + rowBytes * bin;
    const ar = <f64>load<f32>(x), ai = <f64>load<f32>(x, 16), br = <f64>load<f32>(x - back), bi = <f64>load<f32>(x - back, 16);
    const re = ar * br + ai * bi, im = ai * br - ar * bi;
    const at = bin << 3;
    store<f64>(scratchPtr + at, load<f64>(scratchPtr + at) + re);
    store<f64>(imPtr + at, load<f64>(imPtr + at) + im);
    store<f64>(sizePtr + at, load<f64>(sizePtr + at) + sqrt<f64>(re * re + im * im));
  }
  let held: f64 = 0, all: f64 = 0;
  for (let at: usize = 0; at < <usize>binCount << 3; at += 8) {
    const re = load<f64>(scratchPtr + at), im = load<f64>(imPtr + at);
    held += sqrt<f64>(re * re + im * im);
    all += load<f64>(sizePtr + at);
  }
  return all > 0 ? held / all : 0;
}

export function compareParts(
  powerPtr: usize, binCount: i32, floorPtr: usize, setPtr: usize, setCount: i32, beforeFrame: i32, startFrame: i32, splitFrame: i32, endFrame: i32, half: i32,
  firstBin: i32, endBin: i32, scratchPtr: usize, resultPtr: usize,
): void {
  const restPtr = scratchPtr + (<usize>binCount << 3), beforePtr = restPtr + (<usize>binCount << 3);
  memory.fill(scratchPtr, 0, <usize>binCount * 24);
  let row = <u32>(startFrame * binCount);
  const split = <u32>(splitFrame * binCount), from = <u32>((startFrame + half) * binCount), to = endFrame > half ? <u32>((endFrame - half) * binCount) : 0;
  let late: f64 = 0, early: f64 = 0;
  for (let p = setPtr; p < setPtr + (<usize>setCount << 2); p += 4) {
    const k = load<u32>(p);
    while (k >= row + <u32>binCount) row += <u32>binCount;
    const bin = <usize>(k - row);
    const sum = (k < split ? scratchPtr : restPtr) + (bin << 3);
    const e = excess(powerPtr + (<usize>k << 2), floorPtr + (bin << 2));
    store<f64>(sum, load<f64>(sum) + e);
    if (k >= from) late += e;
    if (k < to) early += e;
  }
  for (let t = beforeFrame; t < startFrame; t++) {
    const power = powerPtr + (<usize>(t * binCount) << 2);
    for (let b = <usize>firstBin; b < <usize>endBin; b++) {
      const sum = beforePtr + (b << 3);
      store<f64>(sum, load<f64>(sum) + excess(power + (b << 2), floorPtr + (b << 2)));
    }
  }
  let start: f64 = 0, rest: f64 = 0, before: f64 = 0, within: f64 = 0, across: f64 = 0;
  for (let at: usize = 0; at < <usize>binCount << 3; at += 8) {
    const a = load<f64>(scratchPtr + at), b = load<f64>(restPtr + at), c = load<f64>(beforePtr + at);
    start += a;
    rest += b;
    before += c;
    within += sqrt<f64>(a * b);
    across += sqrt<f64>(c * (a + b));
  }
  store<f64>(resultPtr, start);
  store<f64>(resultPtr, rest, 8);
  store<f64>(resultPtr, before, 16);
  store<f64>(resultPtr, start > 0 && rest > 0 ? within / sqrt<f64>(start * rest) : 0, 24);
  store<f64>(resultPtr, before > 0 && start + rest > 0 ? across / sqrt<f64>(before * (start + rest)) : 0, 32);
  store<f64>(resultPtr, late, 40);
  store<f64>(resultPtr, early, 48);
}

// @ts-ignore: decorator
@inline
function excess(power: usize, floor: usize): f64 {
  return max<f64>(0, <f64>load<f32>(power) - <f64>load<f32>(floor));
}
