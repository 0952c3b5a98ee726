/**
 * Energy over the floor per frame as a level.
 *
 * Formula: r[t] = sums[t] / floorSum in f32; m = (2 r[t] + r[t-1] + r[t+1]) / 4 in f64, 0 beyond the ends; level[t] = 10 log10 m, -30 unless m > 1e-3.
 * Returns the largest level (-30 at least).
 *   sumPtr read f32[frameCount]; levelPtr written f32[frameCount]
 * Must not overlap. Source: definition. Plain reference: test/reference/owned-level.ts.
 */
import { lnOf } from './inline/elementary';

const LOG10E: f64 = 0.4342944819032518;

export function smoothLevel(sumPtr: usize, frameCount: i32, floorSum: f64, levelPtr: usize): f32 {
  let before: f64 = 0, here: f64 = frameCount > 0 ? shareOf(sumPtr, floorSum) : 0;
  let most: f32 = -30;
  for (let t = 0; t < frameCount; t++) {
    const after = t + 1 < frameCount ? shareOf(sumPtr + (<usize>(t + 1) << 2), floorSum) : 0;
    const mean = (2 * here + before + after) / 4;
    // Most frames of most tracks own nothing.
    const level: f32 = mean > 1e-3 ? <f32>(10 * (lnOf(mean) * LOG10E)) : -30;
    store<f32>(levelPtr + (<usize>t << 2), level);
    most = level > most ? level : most;
    before = here;
    here = after;
  }
  return most;
}

// @ts-ignore: decorator
@inline
function shareOf(at: usize, floorSum: f64): f64 {
  return <f64><f32>(<f64>load<f32>(at) / floorSum);
}
