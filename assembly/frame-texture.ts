/**
 * Texture of single frames of one track.
 *
 * Formula per frame t of firstFrame .. endFrame-1, with r[k] = P[t][k] / floor[k] and sums over bins firstBin .. endBin-1:
 *   sum log2(r + 1e-6), sum r, sum sqrt(P[t] P[t-lag]), sum P[t], sum P[t-lag] (the third and fifth 0 where t - lag < firstFrame), and
 *   the sum of r over bins highBin .. highEnd-1.
 *   powerPtr  read    f32[frames][binCount]
 *   floorPtr  read    f32[binCount], > 0
 *   resultPtr written f32[endFrame - firstFrame][6]
 * meanTexture, of these sums s over `count` frames and bands of `width` bins, in f64 in the order of frames: out[0] = sum of
 *   2^(s0 / width) / (s1 / width + 1e-12), [1] = sum over frames from `lag` on of s2 / sqrt(s3 s4 + 1e-30), [2] = sum of s5, or of highPtr's values where that is not 0.
 *   sumPtr read f32[count][6]; highPtr read f32[count]; outPtr written f64[3]
 * firstBin + 4 <= endBin <= binCount; highBin <= highEnd <= binCount. Alignment 4; nothing may overlap. r must stay below 1e38.
 * Source: spectral flatness as ratio of geometric to arithmetic mean: Gray & Markel 1974. Plain reference: test/reference/frame-texture.ts.
 */
import { pow2Of } from './inline/elementary';
import { log2Vector } from './inline/log2';
import { sumRatios } from './inline/sum-ratios';

export function frameTexture(
  powerPtr: usize, binCount: i32, floorPtr: usize, firstFrame: i32, endFrame: i32, firstBin: i32, endBin: i32, lag: i32,
  highBin: i32, highEnd: i32, resultPtr: usize,
): void {
  const at = <usize>firstBin << 2, high = <usize>highBin << 2, rowBytes = <usize>binCount << 2;
  let out = resultPtr;
  for (let t = firstFrame; t < endFrame; t++) {
    const row = powerPtr + <usize>t * rowBytes;
    const hasPast = t - lag >= firstFrame;
    // Without a past the row is compared with itself and the result dropped.
    const past = hasPast ? row - <usize>lag * rowBytes : row;
    sumFrame(row + at, past + at, floorPtr + at, endBin - firstBin, out);
    if (!hasPast) {
      store<f32>(out, 0, 8);
      store<f32>(out, 0, 16);
    }
    store<f32>(out, sumRatios(row + high, floorPtr + high, highEnd - highBin), 20);
    out += 24;
  }
}

function sumFrame(row: usize, past: usize, floor: usize, count: i32, out: usize): void {
  let logs = f32x4.splat(0), ratios = logs, products = logs, powers = logs, pasts = logs;
  const least = f32x4.splat(1e-6);
  const end = <usize>count << 2;
  let mask = i32x4.splat(-1);
  for (let i: usize = 0; i < end; i += 16) {
    let k = i;
    if (i + 16 > end) {
      // The last vector ends with the band; lanes that were counted before are left out.
      k = end - 16;
      const seen = <i32>((i - k) >> 2);
      mask = i32x4.ge_s(i32x4(0, 1, 2, 3), i32x4.splat(seen));
    }
    const p = v128.and(mask, v128.load(row + k)), q = v128.and(mask, v128.load(past + k));
    const r = f32x4.div(p, v128.load(floor + k));
    logs = f32x4.add(logs, v128.and(mask, log2Vector(f32x4.add(r, least))));
    ratios = f32x4.add(ratios, r);
    products = f32x4.add(products, f32x4.mul(f32x4.sqrt(p), f32x4.sqrt(q)));
    powers = f32x4.add(powers, p);
    pasts = f32x4.add(pasts, q);
  }
  store<f32>(out, sumLanes(logs));
  store<f32>(out, sumLanes(ratios), 4);
  store<f32>(out, sumLanes(products), 8);
  store<f32>(out, sumLanes(powers), 12);
  store<f32>(out, sumLanes(pasts), 16);
}

// @ts-ignore: decorator
@inline
function sumLanes(v: v128): f32 {
  return (f32x4.extract_lane(v, 0) + f32x4.extract_lane(v, 1)) + (f32x4.extract_lane(v, 2) + f32x4.extract_lane(v, 3));
}

export function meanTexture(sumPtr: usize, count: i32, width: i32, lag: i32, highPtr: usize, outPtr: usize): void {
  let flat: f64 = 0, steady: f64 = 0, rise: f64 = 0;
  const bins = <f64>width;
  let p = sumPtr;
  for (let t = 0; t < count; t++, p += 24) {
    flat += pow2Of(<f64>load<f32>(p) / bins) / (<f64>load<f32>(p, 4) / bins + 1e-12);
    if (t >= lag) steady += <f64>load<f32>(p, 8) / sqrt<f64>(<f64>load<f32>(p, 12) * <f64>load<f32>(p, 16) + 1e-30);
    rise += <f64>(highPtr ? load<f32>(highPtr + (<usize>t << 2)) : load<f32>(p, 20));
  }
  store<f64>(outPtr, flat);
  store<f64>(outPtr, steady, 8);
  store<f64>(outPtr, rise, 16);
}
