/**
 * Bins of a stretch of frames: what a track owns, what no track leads clearly, and how much of it there is.
 *
 * Powers P f32[trackCount][frameCount][binCount], floors F f32[trackCount][binCount], owner u8 and lead f32 [frameCount][binCount] as
 * ownership.ts gives them; frames [from, to), bins [firstBin, endBin). Sums run in f64 in the order of frames, then bins.
 * collectOwned: the set of k = t binCount + b with P_k >= lift_t F_b and owner_k = track; result[0] = sum of P - F over all bins with
 *   P >= lift F, [1] = over the set, [2] = of (P - F) lead over the set. lift_t = 4, or the larger of 4 and liftPtr[t] where liftPtr is not 0.
 * collectShared: the set of k with an owner and lead <= mostLead; result[0] = sum of e lead, [1] = of e = P_owner / F_owner, [2 + j] = sum of
 *   max(0, P_j / F_j - 1) in frames in which track j is not lost.
 * sumShared: levels[t] = sum over bins with an owner and lead <= mostLead of max(0, P_owner - F_owner) / floorSum_owner, f32.
 * sumLoud: sum of P over bins with P > factor F.
 *   setPtr written u32[at most (to - from)(endBin - firstBin)], returns how many; resultPtr written f64; lostPtr read u8[trackCount][frameCount];
 *   floorSumPtr read f64[trackCount]; levelPtr written f32[frameCount]. Natural alignment; nothing may overlap. 1 <= firstBin, endBin < binCount.
 * Source: definition. Plain reference: test/reference/collect-bins.ts.
 */

// @ts-ignore: decorator
@inline
function powerAt(powerPtr: usize, frameCount: i32, binCount: i32, track: i32, k: i32): f64 {
  return <f64>load<f32>(powerPtr + ((<usize>track * <usize>frameCount * <usize>binCount + <usize>k) << 2));
}

// @ts-ignore: decorator
@inline
function floorAt(floorPtr: usize, binCount: i32, track: i32, b: i32): f64 {
  return <f64>load<f32>(floorPtr + ((<usize>track * <usize>binCount + <usize>b) << 2));
}

export function collectOwned(
  powerPtr: usize, frameCount: i32, binCount: i32, floorPtr: usize, ownerPtr: usize, leadPtr: usize, track: i32, liftPtr: usize,
  from: i32, to: i32, firstBin: i32, endBin: i32, setPtr: usize, resultPtr: usize,
): i32 {
  const rowPtr = powerPtr + ((<usize>track * <usize>frameCount * <usize>binCount) << 2), ownFloor = floorPtr + ((<usize>track * <usize>binCount) << 2);
  let all: f64 = 0, owned: f64 = 0, led: f64 = 0;
  let o = setPtr;
  for (let t = from; t < to; t++) {
    const lift: f64 = liftPtr ? max(4, <f64>load<f32>(liftPtr + (<usize>t << 2))) : 4;
    // A little less than the threshold, so that rounding drops nothing here.
    const least = f32x4.splat(<f32>(0.999 * lift));
    const row = rowPtr + ((<usize>t * <usize>binCount) << 2);
    for (let b = firstBin; b < endBin; b += 4) {
      // Bins of the next four that may be loud enough, as bits.
      let loud = endBin - b < 4 ? (1 << (endBin - b)) - 1 : 15 ^ i32x4.bitmask(f32x4.lt(v128.load(row + (<usize>b << 2)), f32x4.mul(least, v128.load(ownFloor + (<usize>b << 2)))));
      for (; loud; loud &= loud - 1) {
        const bin = b + ctz(loud);
        const at = <usize>bin << 2;
        const p = <f64>load<f32>(row + at), f = <f64>load<f32>(ownFloor + at);
        if (p < lift * f) continue;
        const excess = p - f;
        all += excess;
        const k = t * binCount + bin;
        if (<i32>load<u8>(ownerPtr + <usize>k) != track) continue;
        owned += excess;
        led += excess * <f64>load<f32>(leadPtr + (<usize>k << 2));
        store<u32>(o, k);
        o += 4;
      }
    }
  }
  store<f64>(resultPtr, all);
  store<f64>(resultPtr, owned, 8);
  store<f64>(resultPtr, led, 16);
  return <i32>((o - setPtr) >> 2);
}

export function collectShared(
  powerPtr: usize, frameCount: i32, binCount: i32, trackCount: i32, floorPtr: usize, ownerPtr: usize, leadPtr: usize, lostPtr: usize, mostLead: f64,
  from: i32, to: i32, firstBin: i32, endBin: i32, setPtr: usize, resultPtr: usize,
): i32 {
  memory.fill(resultPtr, 0, <usize>(2 + trackCount) << 3);
  let led: f64 = 0, weight: f64 = 0;
  let o = setPtr;
  for (let t = from; t < to; t++) {
    const first = o;
    for (let b = firstBin; b < endBin; ) {
      const count = min(4, endBin - b);
      let k = t * binCount + b;
      b += count;
      if (count == 4 && load<i32>(ownerPtr + <usize>k) == -1) continue;
      for (const end = k + count; k < end; k++) {
        const owner = <i32>load<u8>(ownerPtr + <usize>k);
        const lead = <f64>load<f32>(leadPtr + (<usize>k << 2));
        if (owner == 255 || lead > mostLead) continue;
        store<u32>(o, k);
        o += 4;
        const e = powerAt(powerPtr, frameCount, binCount, owner, k) / floorAt(floorPtr, binCount, owner, k - t * binCount);
        led += e * lead;
        weight += e;
      }
    }
    for (let j = 0; j < trackCount; j++) {
      if (!load<u8>(lostPtr + <usize>j * <usize>frameCount + <usize>t)) addHeard(powerPtr, frameCount, binCount, floorPtr, t, j, first, o, resultPtr + (<usize>(2 + j) << 3));
    }
  }
  store<f64>(resultPtr, led);
  store<f64>(resultPtr, weight, 8);
  return <i32>((o - setPtr) >> 2);
}

/** Adds what a track hears of the bins of one frame of the set, which stand at from .. to. */
function addHeard(powerPtr: usize, frameCount: i32, binCount: i32, floorPtr: usize, t: i32, track: i32, from: usize, to: usize, sumPtr: usize): void {
  const power = powerPtr + ((<usize>track * <usize>frameCount * <usize>binCount) << 2);
  const floor = floorPtr + ((<usize>track * <usize>binCount) << 2) - ((<usize>t * <usize>binCount) << 2);
  let sum = load<f64>(sumPtr);
  for (let p = from; p < to; p += 4) {
    const at = <usize>load<u32>(p) << 2;
    sum += max<f64>(0, <f64>load<f32>(power + at) / <f64>load<f32>(floor + at) - 1);
  }
  store<f64>(sumPtr, sum);
}

export function sumShared(
  powerPtr: usize, frameCount: i32, binCount: i32, floorPtr: usize, floorSumPtr: usize, ownerPtr: usize, leadPtr: usize, mostLead: f64,
  firstBin: i32, endBin: i32, levelPtr: usize,
): void {
  for (let t = 0; t < frameCount; t++) {
    let a: f64 = 0;
    for (let b = firstBin; b < endBin; ) {
      const count = min(4, endBin - b);
      let k = t * binCount + b;
      b += count;
      if (count == 4 && load<i32>(ownerPtr + <usize>k) == -1) continue;
      for (const end = k + count; k < end; k++) {
        const owner = <i32>load<u8>(ownerPtr + <usize>k);
        if (owner == 255 || <f64>load<f32>(leadPtr + (<usize>k << 2)) > mostLead) continue;
        a += max<f64>(0, powerAt(powerPtr, frameCount, binCount, owner, k) - floorAt(floorPtr, binCount, owner, k - t * binCount)) / load<f64>(floorSumPtr + (<usize>owner << 3));
      }
    }
    store<f32>(levelPtr + (<usize>t << 2), <f32>a);
  }
}

export function sumLoud(powerPtr: usize, frameCount: i32, binCount: i32, floorPtr: usize, track: i32, factor: f64, from: i32, to: i32, firstBin: i32, endBin: i32): f64 {
  let all: f64 = 0;
  const floor = floorPtr + ((<usize>track * <usize>binCount) << 2), least = f32x4.splat(<f32>(0.999 * factor));
  for (let t = from; t < to; t++) {
    const row = powerPtr + ((<usize>(track * frameCount + t) * <usize>binCount) << 2);
    for (let b = firstBin; b < endBin; b += 4) {
      const at = <usize>b << 2;
      let loud = endBin - b < 4 ? (1 << (endBin - b)) - 1 : i32x4.bitmask(f32x4.ge(v128.load(row + at), f32x4.mul(least, v128.load(floor + at))));
      for (; loud; loud &= loud - 1) {
        const p = <f64>load<f32>(row + at + (<usize>ctz(loud) << 2));
        if (p > factor * <f64>load<f32>(floor + at + (<usize>ctz(loud) << 2))) all += p;
      }
    }
  }
  return all;
}
