/**
 * How alike the tracks are in a band: coherence, level ratio and spectral distance of every pair.
 *
 * Formula, over bins k of the band, from sums over spectra C_ij, A_i (whitening 0) and noise N_i[k] = noiseScale * noise:
 *   coherence  = mean of |C_ij|^2 / (A_i A_j) over the bins where both have power; 0 where none has
 *   S_i[k]     = max(A_i[k] - N_i[k], 0)
 *   level      = 10 log10(sum S_i / sum S_j) dB, sums not below 1e-30, kept within -120 .. 120; positive: i is louder
 *   distance   = mean of |10 log10((P_i + e) / (P_j + e))| dB, P = S / sum S (0 for silence), e = 1e-4 / number of bins
 * A single spectrum has coherence 1; m independent ones have about 1 / m by chance. Delays that are long against the window lower it.
 *   crossPtr, autoPtr read    as addCrossSpectra writes them
 *   noisePtr   read    f32[trackCount][binCount], noise power |X|^2 of one spectrum, or 0 for none; noiseScale = number of spectra summed
 *   scratchPtr written f32[trackCount][endBin - firstBin], then f32[4 * groupCount + 4] at the next multiple of 16
 *   coherencePtr, levelPtr, distancePtr written f32[pairs]
 * Alignment 16 for crossPtr, autoPtr, scratchPtr, else 4. Nothing may overlap.
 * Source: Carter, Knapp & Nuttall 1973; checked against scipy.signal.coherence. Plain reference: test/reference/compare-tracks.ts.
 */
import { countGroups, pairIndex, POINT_BYTES } from './abi';
import { countRotations, describeRotation, pairOfLane, rotateLanes } from './inline/rotations';

export function compareTracks(
  crossPtr: usize, autoPtr: usize, trackCount: i32, binCount: i32, firstBin: i32, endBin: i32, noisePtr: usize, noiseScale: f32,
  scratchPtr: usize, coherencePtr: usize, levelPtr: usize, distancePtr: usize,
): void {
  const groups = countGroups(trackCount);
  const bins = endBin - firstBin;
  const sumPtr = (scratchPtr + ((<usize>trackCount * <usize>bins) << 2) + 15) & ~15;
  for (let t = 0; t < trackCount; t++) {
    const noise = noisePtr ? noisePtr + ((<usize>t * <usize>binCount) << 2) : 0;
    const row = scratchPtr + ((<usize>t * <usize>bins) << 2);
    const sum = describeTrack(autoPtr, groups, t, firstBin, endBin, noise, noiseScale, row);
    store<f32>(sumPtr + (<usize>t << 2), <f32>sum);
  }
  const lanePtr = sumPtr + (<usize>groups << 4);
  for (let i = 0; i < countRotations(groups); i++) {
    const rotation = describeRotation(i, groups);
    const cross = crossPtr + <usize>i * <usize>binCount * POINT_BYTES;
    v128.store(lanePtr, meanCoherence(rotation, cross, autoPtr, groups, firstBin, endBin));
    for (let lane = 0; lane < 4; lane++) {
      const pair = pairOfLane(rotation, lane, trackCount);
      if (pair < 0) continue;
      const a = pair & 0xff, b = (pair >> 8) & 0xff;
      const o = <usize>pairIndex(a, b, trackCount) << 2;
      store<f32>(coherencePtr + o, load<f32>(lanePtr + (<usize>lane << 2)));
      store<f32>(levelPtr + o, levelOf(load<f32>(sumPtr + (<usize>a << 2)), load<f32>(sumPtr + (<usize>b << 2))));
      store<f32>(distancePtr + o, distanceOf(scratchPtr, a, b, bins));
    }
  }
}

/** Writes 10 log10(P + e) of one track; returns the sum of S. */
function describeTrack(autoPtr: usize, groups: i32, track: i32, firstBin: i32, endBin: i32, noise: usize, noiseScale: f32, row: usize): f64 {
  const lane = <usize>((track >> 2) * 16 + (track & 3) * 4);
  let sum: f64 = 0;
  for (let k = firstBin; k < endBin; k++) {
    let s = load<f32>(autoPtr + ((<usize>k * <usize>groups) << 4) + lane);
    if (noise) s = max(s - noiseScale * load<f32>(noise + (<usize>k << 2)), <f32>0);
    store<f32>(row + (<usize>(k - firstBin) << 2), s);
    sum += <f64>s;
  }
  const factor = sum > 0 ? 1 / sum : 0;
  const least = 1e-4 / <f64>(endBin - firstBin);
  for (let k = 0; k < endBin - firstBin; k++) {
    const p = row + (<usize>k << 2);
    store<f32>(p, <f32>(10 * Math.log10(<f64>load<f32>(p) * factor + least)));
  }
  return sum;
}

function levelOf(a: f32, b: f32): f32 {
  const level = 10 * Math.log10(max(<f64>a, 1e-30) / max(<f64>b, 1e-30));
  return <f32>min(max(level, -120), 120);
}

function distanceOf(rows: usize, a: i32, b: i32, bins: i32): f32 {
  const p = rows + ((<usize>a * <usize>bins) << 2), q = rows + ((<usize>b * <usize>bins) << 2);
  let sum: f64 = 0;
  for (let k: usize = 0; k < <usize>bins << 2; k += 4) sum += <f64>abs(load<f32>(p + k) - load<f32>(q + k));
  return <f32>(sum / <f64>bins);
}

function meanCoherence(rotation: i32, cross: usize, autoPtr: usize, groups: i32, firstBin: i32, endBin: i32): v128 {
  const a = <usize>(rotation & 0xff) << 4, b = <usize>((rotation >> 8) & 0xff) << 4;
  const r = rotation >> 16;
  const zero = f32x4.splat(0), one = f32x4.splat(1);
  let sum = zero, count = zero;
  for (let k = firstBin; k < endBin; k++) {
    const row = autoPtr + ((<usize>k * <usize>groups) << 4);
    const pa = v128.load(row + a), q = v128.load(row + b);
    const pb = r == 0 ? q : r == 1 ? rotateLanes(q, 1) : r == 2 ? rotateLanes(q, 2) : rotateLanes(q, 3);
    const re = v128.load(cross + <usize>k * POINT_BYTES), im = v128.load(cross + <usize>k * POINT_BYTES, 16);
    // Divide before multiplying: the product of two powers may leave the range of f32.
    const ratio = f32x4.add(f32x4.mul(f32x4.div(re, pa), f32x4.div(re, pb)), f32x4.mul(f32x4.div(im, pa), f32x4.div(im, pb)));
    const isBoth = v128.and(f32x4.gt(pa, zero), f32x4.gt(pb, zero));
    sum = f32x4.add(sum, v128.and(ratio, isBoth));
    count = f32x4.add(count, v128.and(one, isBoth));
  }
  return f32x4.div(sum, f32x4.max(count, one));
}
