/**
 * Peak of one correlation, between the samples.
 *
 * Among indices from .. to-1 of r[count]: order 0 takes the largest value; order 1 the local maximum nearest to the centre
 * (count - 1) / 2, order 2 the first from below, of those of at least share * the largest value. A local maximum has a smaller left and no
 * larger right neighbour inside the array; if there is none the largest value is taken.
 * Between samples: interpolation 0 none; 1 parabola, d = (r- - r+) / (2 (r- - 2 r0 + r+)); 2 cosine, w = acos((r- + r+) / (2 r0)),
 * d = atan((r+ - r-) / (2 r0 sin w)) / w, exact for a tone, the parabola where |r- + r+| >= 2 r0. None at the array's ends.
 *   rPtr      read    f32[count]
 *   resultPtr written f64[4], 8-aligned: lag (index + d - centre), value at the interpolated peak, index, largest other local maximum in
 *             the range (0 if none)
 * Returns 1, or 0 when no value is positive (silence, NaN): then result = NaN, 0, -1, 0. NaN values are passed over.
 * Source: parabola and cosine: Moddemeijer 1991, Signal Processing 25 (from memory). Plain reference: test/reference/peak.ts.
 */
// @ts-ignore: decorator
@inline
function at(rPtr: usize, i: i32): f64 {
  return <f64>load<f32>(rPtr + (<usize>i << 2));
}

function isLocalMaximum(rPtr: usize, count: i32, i: i32): bool {
  const r = at(rPtr, i);
  return i > 0 && i < count - 1 && r > at(rPtr, i - 1) && r >= at(rPtr, i + 1);
}

export function peakLag(rPtr: usize, count: i32, from: i32, to: i32, order: i32, share: f64, interpolation: i32, resultPtr: usize): i32 {
  const centre = (count - 1) >> 1;
  let best = findLargest(rPtr, from, to);
  if (best < 0) {
    storeResult(resultPtr, NaN, 0, -1, 0);
    return 0;
  }
  if (order != 0) best = findFirst(rPtr, count, from, to, order, share * at(rPtr, best), best);
  const r = at(rPtr, best);
  let d: f64 = 0;
  let value = r;
  if (interpolation && best > 0 && best < count - 1) {
    const before = at(rPtr, best - 1), after = at(rPtr, best + 1);
    const sum = before + after;
    // Off a true maximum (range edge) there is nothing to interpolate.
    if (r >= before && r >= after && sum < 2 * r) {
      if (interpolation == 2 && sum > -2 * r) {
        const w = Math.acos(sum / (2 * r));
        d = Math.atan((after - before) / (2 * r * Math.sin(w))) / w;
        value = r / Math.cos(w * d);
      } else {
        d = (0.5 * (before - after)) / (sum - 2 * r);
        value = r - 0.25 * (before - after) * d;
      }
    }
  }
  storeResult(resultPtr, <f64>(best - centre) + d, value, <f64>best, findOther(rPtr, count, from, to, best));
  return 1;
}

function storeResult(resultPtr: usize, lag: f64, value: f64, index: f64, other: f64): void {
  store<f64>(resultPtr, lag);
  store<f64>(resultPtr, value, 8);
  store<f64>(resultPtr, index, 16);
  store<f64>(resultPtr, other, 24);
}

function findLargest(rPtr: usize, from: i32, to: i32): i32 {
  let best = -1;
  let largest: f64 = 0;
  for (let i = from; i < to; i++) {
    const r = at(rPtr, i);
    if (r > largest) {
      largest = r;
      best = i;
    }
  }
  return best;
}

function findFirst(rPtr: usize, count: i32, from: i32, to: i32, order: i32, least: f64, otherwise: i32): i32 {
  const centre = (count - 1) >> 1;
  let best = -1;
  for (let i = from; i < to; i++) {
    if (!isLocalMaximum(rPtr, count, i) || at(rPtr, i) < least) continue;
    if (order == 2) return i;
    if (best < 0 || abs(i - centre) < abs(best - centre)) best = i;
  }
  return best < 0 ? otherwise : best;
}

function findOther(rPtr: usize, count: i32, from: i32, to: i32, best: i32): f64 {
  let largest: f64 = 0;
  for (let i = from; i < to; i++) {
    if (i != best && isLocalMaximum(rPtr, count, i)) largest = max(largest, at(rPtr, i));
  }
  return largest;
}
