/**
 * How far eight bands of one spectrum, and all bins from one on, rise over the floor: what is asked of the bins above the call band.
 *
 * Formula: r_j[k] = |X_j(k)|^2 weight_j[k]; rise[m] = mean of r over bins edge[m] .. edge[m+1]-1, m = 0 .. 7; high = sum of r over bins
 *   edge[9] .. edge[10]-1.
 *   spectrumPtr read    [binCount][groupCount][re x 4][im x 4] f32, 16-aligned
 *   weightPtr   read    [binCount][groupCount][x 4] f32: what turns |X|^2 into power, over the floor; 0 where there is no track
 *   edgePtr     read    i32[11]: nine edges, ascending, then first and end of the high bins, end >= edge[8]
 *   risePtr     written f32[8] of each track, riseBytes apart
 *   highPtr     written f32 of each track, highBytes apart
 * Nothing may overlap. A NaN stays on its own track. Source: definition. Plain reference: test/reference/band-rise.ts.
 */
import { countGroups, POINT_BYTES, VECTOR_BYTES } from './abi';

export function sumBands(
  spectrumPtr: usize, trackCount: i32, weightPtr: usize, edgePtr: usize, risePtr: usize, riseBytes: usize, highPtr: usize, highBytes: usize,
): void {
  const groups = countGroups(trackCount);
  const split = load<i32>(edgePtr, 36), last = load<i32>(edgePtr, 32);
  for (let g = 0; g < groups; g++) {
    const spectrum = spectrumPtr + <usize>g * POINT_BYTES, weight = weightPtr + <usize>g * VECTOR_BYTES;
    const tracks = min(4, trackCount - 4 * g);
    const rise = risePtr + <usize>(4 * g) * riseBytes;
    let high = sumRatios(spectrum, weight, groups, max(last, split), load<i32>(edgePtr, 40));
    for (let m: usize = 0; m < 8; m++) {
      const from = load<i32>(edgePtr + (m << 2)), to = load<i32>(edgePtr + (m << 2), 4);
      const upper = sumRatios(spectrum, weight, groups, max(from, split), to);
      high = f32x4.add(high, upper);
      const sum = f32x4.add(sumRatios(spectrum, weight, groups, from, min(to, split)), upper);
      storeTracks(f32x4.div(sum, f32x4.splat(<f32>(to - from))), tracks, rise + (m << 2), riseBytes);
    }
    storeTracks(high, tracks, highPtr + <usize>(4 * g) * highBytes, highBytes);
  }
}

/** Sum over bins from .. to-1, in two partial sums; 0 for none. */
function sumRatios(spectrum: usize, weight: usize, groups: i32, from: i32, to: i32): v128 {
  let a = f32x4.splat(0), b = a;
  const step = <usize>groups * VECTOR_BYTES;
  let w = weight + <usize>from * step, p = spectrum + <usize>from * 2 * step;
  let k = from;
  for (; k + 2 <= to; k += 2, w += 2 * step, p += 4 * step) {
    a = f32x4.add(a, f32x4.mul(v128.load(w), squareOf(p)));
    b = f32x4.add(b, f32x4.mul(v128.load(w + step), squareOf(p + 2 * step)));
  }
  if (k < to) a = f32x4.add(a, f32x4.mul(v128.load(w), squareOf(p)));
  return f32x4.add(a, b);
}

// @ts-ignore: decorator
@inline
function squareOf(p: usize): v128 {
  const re = v128.load(p), im = v128.load(p, 16);
  return f32x4.add(f32x4.mul(re, re), f32x4.mul(im, im));
}

// @ts-ignore: decorator
@inline
function storeTracks(v: v128, tracks: i32, at: usize, apart: usize): void {
  v128.store_lane<f32>(at, v, 0);
  if (tracks > 1) v128.store_lane<f32>(at + apart, v, 1);
  if (tracks > 2) v128.store_lane<f32>(at + 2 * apart, v, 2);
  if (tracks > 3) v128.store_lane<f32>(at + 3 * apart, v, 3);
}
