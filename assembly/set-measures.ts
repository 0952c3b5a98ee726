/**
 * Lags of all tracks against one, and their levels, over a set of time-frequency bins.
 *
 * measureSet: with u = X_own / |X_own| and w_j = max(0, 1 - noise_j / |X_j|^2) per bin, C_j[k] = sum over the set's frames of
 *   w_j conj(u) X_j / |X_j|, r_j[m] = sum over k of Re(C_j[k] exp(i 2 pi k m / n)). Bins where X_own or X_j is 0, NaN or infinite add
 *   nothing. Per group, seven vectors: the step m in -maxSteps .. maxSteps of the largest r (the first of equals, 0 unless it is beaten),
 *   r at the step before, there, at the step after, r[0], sum of w, sum of w^2. Levels per group, three vectors of f64: sum of
 *   scale |X_j|^2 - scale noise_j over bins below splitBin, the same from splitBin on, sum of scale noise_j; bins of one frame in f32, frames in f64.
 *   spectraPtr read    [spectrum][keptBins][groupCount][re x 4][im x 4] f32
 *   noisePtr   read    f32[binCount][groupCount][x 4], in units of |X|^2, infinite where there is no track
 *   setPtr     read    u32[setCount], spectrum * binCount + bin, bin < keptBins <= binCount
 *   tablePtr   read    fftPrepare(n), n >= 2 binCount, maxSteps < n / 2
 *   scratchPtr written setScratchBytes(n, trackCount, setCount)
 *   resultPtr  written f32[groupCount][7][x 4]
 *   levelsPtr  written f64[groupCount][3][x 4]
 * Alignment 16 (set 4); nothing may overlap.
 * Source: Knapp & Carter 1976 (phase transform); weights: share of the signal in a bin. Plain reference: test/reference/set-lags.ts.
 */
import { countGroups, POINT_BYTES } from './abi';
import { fftInverse } from './fft';
import { findLanePeaks } from './inline/lane-peaks';

/** Bytes of the scratch: spectra of the sums, work and lanes of one inverse transform, two vectors, u of every bin of the set. */
export function setScratchBytes(n: i32, trackCount: i32, setCount: i32): i32 {
  return ((n >> 1) + 1) * countGroups(trackCount) * <i32>POINT_BYTES + 32 * n + 32 + 8 * setCount;
}

export function measureSet(
  spectraPtr: usize, keptBins: i32, binCount: i32, trackCount: i32, noisePtr: usize, own: i32, setPtr: usize, setCount: i32, n: i32, tablePtr: usize,
  maxSteps: i32, scratchPtr: usize, resultPtr: usize, scale: f32, splitBin: i32, levelsPtr: usize,
): void {
  const groups = countGroups(trackCount);
  const stride = groups * <i32>POINT_BYTES;
  const crossBytes = <usize>((n >> 1) + 1) * <usize>stride;
  const workPtr = scratchPtr + crossBytes;
  const lanesPtr = workPtr + (<usize>n << 4);
  memory.fill(scratchPtr, 0, crossBytes);
  memory.fill(levelsPtr, 0, <usize>groups * 96);
  const spillPtr = lanesPtr + (<usize>n << 4);
  // The own track's group first: it gives u.
  for (let i = 0; i < groups; i++) {
    const g = i == 0 ? own >> 2 : i <= own >> 2 ? i - 1 : i;
    const spectrum = scratchPtr + <usize>g * POINT_BYTES;
    const result = resultPtr + <usize>g * 112;
    sumSet(
      spectraPtr, keptBins, binCount, stride, noisePtr, i == 0 ? own & 3 : -1, setPtr, setCount, <usize>g * POINT_BYTES, scratchPtr, spillPtr, result, scale, splitBin,
      levelsPtr + <usize>g * 96,
    );
    // The inverse takes bin 0 once and all others twice.
    v128.store(spectrum, f32x4.add(v128.load(spectrum), v128.load(spectrum)));
    fftInverse(n, tablePtr, spectrum, stride, workPtr, lanesPtr);
    findLanePeaks(lanesPtr, n, maxSteps, <f32>(n >> 1), result);
  }
}

/** Sums of one group, which lies g bytes from the first; ownLane is -1 where the own track is in another. */
function sumSet(
  spectraPtr: usize, keptBins: i32, binCount: i32, strideBytes: i32, noisePtr: usize, ownLane: i32, setPtr: usize, setCount: i32, g: usize, crossPtr: usize, spillPtr: usize,
  resultPtr: usize, scale: f32, splitBin: i32, levelsPtr: usize,
): void {
  const stride = <usize>strideBytes, lane = <usize>ownLane << 2;
  const one = f32x4.splat(1), zero = f32x4.splat(0), most = f32x4.splat(f32.MAX_VALUE), factor = f32x4.splat(scale);
  const end = setPtr + (<usize>setCount << 2);
  let weights = zero, squares = zero, low = zero, high = zero, noises = zero;
  let row = -binCount, place: usize = 0, unit = spillPtr + 32;
  for (let p = setPtr; p < end; p += 4, unit += 8) {
    const k = load<i32>(p);
    // A division only where another frame begins.
    if (k - row >= binCount || k < row) {
      addSums(levelsPtr, low, high, noises);
      low = zero; high = zero; noises = zero;
      const frame = k / binCount;
      row = frame * binCount;
      place = spectraPtr + <usize>(frame * keptBins) * stride + g;
    }
    const at = <usize>(k - row) * stride;
    const xr = v128.load(place + at), xi = v128.load(place + at, 16);
    const s = f32x4.add(f32x4.mul(xr, xr), f32x4.mul(xi, xi));
    const noise = v128.load(noisePtr + ((at + g) >> 1));
    const level = f32x4.mul(factor, noise), excess = f32x4.sub(f32x4.mul(factor, s), level);
    if (k - row < splitBin) low = f32x4.add(low, excess);
    else high = f32x4.add(high, excess);
    noises = f32x4.add(noises, level);
    const inverse = f32x4.div(one, f32x4.sqrt(s));
    if (ownLane >= 0) storeUnit(spillPtr, place + at + lane, lane, s, inverse, unit);
    const ur = v128.load_splat<f32>(unit), ui = v128.load_splat<f32>(unit, 4);
    if (load<f32>(unit) != load<f32>(unit)) continue;
    const share = f32x4.sub(one, f32x4.mul(f32x4.mul(noise, inverse), inverse));
    const counts = v128.and(f32x4.gt(share, zero), f32x4.le(s, most));
    const w = v128.and(counts, share);
    const turn = v128.and(counts, f32x4.mul(share, inverse));
    const yr = v128.and(counts, xr), yi = v128.and(counts, xi);
    const cross = crossPtr + at + g;
    v128.store(cross, f32x4.add(v128.load(cross), f32x4.mul(turn, f32x4.add(f32x4.mul(ur, yr), f32x4.mul(ui, yi)))));
    v128.store(cross, f32x4.add(v128.load(cross, 16), f32x4.mul(turn, f32x4.sub(f32x4.mul(ur, yi), f32x4.mul(ui, yr)))), 16);
    weights = f32x4.add(weights, w);
    squares = f32x4.add(squares, f32x4.mul(w, w));
  }
  addSums(levelsPtr, low, high, noises);
  v128.store(resultPtr, weights, 80);
  v128.store(resultPtr, squares, 96);
}

/** u of the own track from what its group has worked out; NaN where it adds nothing. Through memory, for lanes are not counted at run time. */
// @ts-ignore: decorator
@inline
function storeUnit(spillPtr: usize, point: usize, lane: usize, s: v128, inverse: v128, unit: usize): void {
  v128.store(spillPtr, s);
  v128.store(spillPtr, inverse, 16);
  const square = load<f32>(spillPtr + lane), turn = load<f32>(spillPtr + lane, 16);
  store<f32>(unit, square > 0 && square <= f32.MAX_VALUE ? load<f32>(point) * turn : NaN);
  store<f32>(unit, load<f32>(point, 16) * turn, 4);
}

// @ts-ignore: decorator
@inline
function addSums(sums: usize, low: v128, high: v128, noises: v128): void {
  addPromoted(sums, low);
  addPromoted(sums + 32, high);
  addPromoted(sums + 64, noises);
}

// @ts-ignore: decorator
@inline
function addPromoted(sums: usize, v: v128): void {
  v128.store(sums, f64x2.add(v128.load(sums), f64x2.promote_low_f32x4(v)));
  v128.store(sums, f64x2.add(v128.load(sums, 16), f64x2.promote_low_f32x4(v128.shuffle<f32>(v, v, 2, 3, 2, 3))), 16);
}
