/**
 * The envelope of one track from energies in short steps, and where it ends once the room's decay is taken off.
 *
 * E_j(s) = sum of energy over steps s - half .. s - half + width - 1 of lane j, 0 outside the stretch, kept as a running sum in f64.
 * trackEnvelope: own[k] = perFrame max(0, E_lane(first + k)), k = 0 .. count-1.
 * findDryOffset: "dry" at step k is own[k] less roomShare times the middle value of the others' max(0, perFrame E_j - noise_j) scale_j (the upper one of an even
 *   number). From step `from` on, the last k with own[k] >= high that is dry at least as high for more than half of the others, until `hold` steps without one;
 *   then how far from there to the next step the dry envelope, if it does, falls through `high`. Returns a step of the stretch.
 *   energyPtr  read    f32[stepCount][laneCount], laneCount a multiple of 4
 *   ownPtr     written by trackEnvelope, read by findDryOffset, f64[count]: step `first` on; first <= from
 *   noisePtr   read    f64[laneCount]; NaN where a lane is no other
 *   scalePtr   read    f64[laneCount]
 *   scratchPtr written f64[laneCount], 16-aligned
 * Natural alignment; nothing may overlap. Source: definition; the room's decay is about equally loud everywhere. Plain reference: test/reference/track-envelope.ts.
 */

// @ts-ignore: decorator
@inline
function readStep(energyPtr: usize, laneCount: i32, stepCount: i32, lane: i32, step: i32): f64 {
  return <u32>step < <u32>stepCount ? <f64>load<f32>(energyPtr + (<usize>(step * laneCount + lane) << 2)) : 0;
}

function sumAround(energyPtr: usize, laneCount: i32, stepCount: i32, lane: i32, from: i32, width: i32): f64 {
  let sum: f64 = 0;
  for (let s = from; s < from + width; s++) sum += readStep(energyPtr, laneCount, stepCount, lane, s);
  return sum;
}

export function trackEnvelope(
  energyPtr: usize, laneCount: i32, stepCount: i32, lane: i32, first: i32, count: i32, half: i32, width: i32, perFrame: f64, ownPtr: usize,
): void {
  let sum = sumAround(energyPtr, laneCount, stepCount, lane, first - half, width);
  for (let k = 0; k < count; k++) {
    store<f64>(ownPtr + (<usize>k << 3), max<f64>(0, sum) * perFrame);
    const last = first + k - half;
    sum += readStep(energyPtr, laneCount, stepCount, lane, last + width) - readStep(energyPtr, laneCount, stepCount, lane, last);
  }
}

export function findDryOffset(
  energyPtr: usize, laneCount: i32, stepCount: i32, ownPtr: usize, first: i32, count: i32, from: i32, high: f64, hold: i32, half: i32, width: i32, perFrame: f64,
  roomShare: f64, noisePtr: usize, scalePtr: usize, scratchPtr: usize,
): f64 {
  let others = 0;
  for (let j = 0; j < laneCount; j++) {
    if (load<f64>(noisePtr + (<usize>j << 3)) == load<f64>(noisePtr + (<usize>j << 3))) others++;
    store<f64>(scratchPtr + (<usize>j << 3), sumAround(energyPtr, laneCount, stepCount, j, from - half, width));
  }
  let last = from - first;
  for (let k = last; k < count; k++) {
    const own = load<f64>(ownPtr + (<usize>k << 3));
    if (own >= high && (others == 0 || countQuiet(laneCount, noisePtr, scalePtr, scratchPtr, perFrame, (own - high) / roomShare) > others >> 1)) last = k;
    else if (k - last > hold) break;
    moveOn(energyPtr, laneCount, stepCount, first + k - half, width, scratchPtr);
  }
  if (last + 1 >= count) return <f64>(first + last);
  const inside = readDry(energyPtr, laneCount, stepCount, ownPtr, first, last, half, width, perFrame, roomShare, noisePtr, scalePtr, scratchPtr);
  const outside = readDry(energyPtr, laneCount, stepCount, ownPtr, first, last + 1, half, width, perFrame, roomShare, noisePtr, scalePtr, scratchPtr);
  return <f64>(first + last) + (inside > high && outside < high ? (inside - high) / (inside - outside) : 0);
}

/** How many of the others are at most so loud. */
function countQuiet(laneCount: i32, noisePtr: usize, scalePtr: usize, sumPtr: usize, perFrame: f64, most: f64): i32 {
  const limit = f64x2.splat(most), factor = f64x2.splat(perFrame);
  let quiet = i64x2.splat(0);
  for (let i: usize = 0; i < <usize>laneCount << 3; i += 16) {
    const level = f64x2.mul(f64x2.sub(f64x2.mul(v128.load(sumPtr + i), factor), v128.load(noisePtr + i)), v128.load(scalePtr + i));
    quiet = i64x2.sub(quiet, f64x2.le(level, limit));
  }
  return <i32>(i64x2.extract_lane(quiet, 0) + i64x2.extract_lane(quiet, 1));
}

/** The running sums of all lanes, one step on: what leaves them is at step `last`. */
function moveOn(energyPtr: usize, laneCount: i32, stepCount: i32, last: i32, width: i32, sumPtr: usize): void {
  const isInside = last >= 0 && last + width < stepCount;
  const a = energyPtr + (<usize>((last + width) * laneCount) << 2), b = energyPtr + (<usize>(last * laneCount) << 2);
  if (!isInside) {
    for (let j = 0; j < laneCount; j++) {
      const at = sumPtr + (<usize>j << 3);
      store<f64>(at, load<f64>(at) + (readStep(energyPtr, laneCount, stepCount, j, last + width) - readStep(energyPtr, laneCount, stepCount, j, last)));
    }
    return;
  }
  for (let i: usize = 0; i < <usize>laneCount << 2; i += 8) {
    const change = f64x2.sub(f64x2.promote_low_f32x4(v128.load64_zero(a + i)), f64x2.promote_low_f32x4(v128.load64_zero(b + i)));
    v128.store(sumPtr + (i << 1), f64x2.add(v128.load(sumPtr + (i << 1)), change));
  }
}

/** The dry envelope at own[k]. */
function readDry(
  energyPtr: usize, laneCount: i32, stepCount: i32, ownPtr: usize, first: i32, k: i32, half: i32, width: i32, perFrame: f64, roomShare: f64, noisePtr: usize, scalePtr: usize,
  scratchPtr: usize,
): f64 {
  const own = load<f64>(ownPtr + (<usize>k << 3));
  let count: usize = 0;
  for (let j = 0; j < laneCount; j++) {
    const noise = load<f64>(noisePtr + (<usize>j << 3));
    if (noise != noise) continue;
    const v = max<f64>(0, sumAround(energyPtr, laneCount, stepCount, j, first + k - half, width) * perFrame - noise) * load<f64>(scalePtr + (<usize>j << 3));
    // Put in its place among those before.
    let at = scratchPtr + (count << 3);
    for (; at > scratchPtr && load<f64>(at - 8) > v; at -= 8) store<f64>(at, load<f64>(at - 8));
    store<f64>(at, v);
    count++;
  }
  return count == 0 ? own : own - roomShare * load<f64>(scratchPtr + ((count >> 1) << 3));
}
