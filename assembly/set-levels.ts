/**
 * Levels of all tracks over a set of time-frequency bins.
 *
 * Formula: per group, three pairs of f64x2 (tracks 0 1, 2 3): sum of scale |X_j|^2 - scale noise_j over bins below splitBin, the same
 *   from splitBin on, sum of scale noise_j; bins of one frame are summed in f32, frames in f64.
 *   spectraPtr read    [spectrum][keptBins][groupCount][re x 4][im x 4] f32
 *   noisePtr   read    f32[binCount][groupCount][x 4], in units of |X|^2, infinite where there is no track
 *   setPtr     read    u32[setCount], spectrum * binCount + bin, bin < keptBins <= binCount
 *   resultPtr  written f64[groupCount][6][x 2]
 * Alignment 16 (set 4); nothing may overlap. Source: definition. Plain reference: test/reference/set-lags.ts.
 */
import { countGroups, POINT_BYTES } from './abi';

export function sumSetLevels(
  spectraPtr: usize, keptBins: i32, binCount: i32, trackCount: i32, noisePtr: usize, scale: f32, setPtr: usize, setCount: i32, splitBin: i32, resultPtr: usize,
): void {
  const stride = <usize>countGroups(trackCount) * POINT_BYTES;
  const factor = f32x4.splat(scale), zero = f32x4.splat(0);
  memory.fill(resultPtr, 0, <usize>countGroups(trackCount) * 96);
  const end = setPtr + (<usize>setCount << 2);
  for (let g: usize = 0; g < stride; g += POINT_BYTES) {
    const result = resultPtr + (g / POINT_BYTES) * 96;
    let low = zero, high = zero, noises = zero;
    let row = -binCount, place: usize = 0;
    for (let p = setPtr; p < end; p += 4) {
      const k = load<i32>(p);
      if (k - row >= binCount || k < row) {
        // The bins of one frame are summed in f32, the frames in f64.
        addSums(result, low, high, noises);
        low = zero; high = zero; noises = zero;
        const frame = k / binCount;
        row = frame * binCount;
        place = spectraPtr + <usize>(frame * keptBins) * stride + g;
      }
      const at = <usize>(k - row) * stride;
      const xr = v128.load(place + at), xi = v128.load(place + at, 16);
      const noise = f32x4.mul(factor, v128.load(noisePtr + ((at + g) >> 1)));
      const excess = f32x4.sub(f32x4.mul(factor, f32x4.add(f32x4.mul(xr, xr), f32x4.mul(xi, xi))), noise);
      if (k - row < splitBin) low = f32x4.add(low, excess);
      else high = f32x4.add(high, excess);
      noises = f32x4.add(noises, noise);
    }
    addSums(result, low, high, noises);
  }
}

// @ts-ignore: decorator
@inline
function addSums(result: usize, low: v128, high: v128, noises: v128): void {
  addPromoted(result, low);
  addPromoted(result + 32, high);
  addPromoted(result + 64, noises);
}

// @ts-ignore: decorator
@inline
function addPromoted(sums: usize, v: v128): void {
  v128.store(sums, f64x2.add(v128.load(sums), f64x2.promote_low_f32x4(v)));
  v128.store(sums, f64x2.add(v128.load(sums, 16), f64x2.promote_low_f32x4(v128.shuffle<f32>(v, v, 2, 3, 2, 3))), 16);
}
