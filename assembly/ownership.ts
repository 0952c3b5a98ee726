/**
 * Who owns each time-frequency bin, by how much, and what each track owns per frame.
 *
 * Formula: S_j = mean of P_j over 3 frames (edge frames repeated) x 3 bins; q_j = (S_j - floor_j) scale_j over the tracks not lost in the
 * frame; the largest positive q (the first of equals) owns the bin if S_j > leastSnr floor_j there, else nobody (255).
 * lead = 10 log10(min(1e6, largest q / max(1e-30, second q))), 0 where nobody owns; owned[j][t] = sum of P_j - floor_j over owned bins.
 *   powerPtr   read    f32[trackCount][frameCount][binCount]
 *   floorPtr   read    f32[trackCount][binCount], > 0
 *   scalePtr   read    f32[trackCount]
 *   lostPtr    read    u8[trackCount][frameCount], 1 = leave the track out of the frame
 *   scratchPtr written ownershipScratchBytes(binCount, trackCount), 16-aligned
 *   ownerPtr   written u8[frameCount][binCount]
 *   leadPtr    written f32[frameCount][binCount]
 *   ownedPtr   written f32[trackCount][frameCount]
 * Outside bins firstBin .. endBin-1 owner is 255 and lead 0. 1 <= firstBin, firstBin + 4 <= endBin < binCount; at most 16 tracks.
 * Alignment 4 (scratch 16); nothing may overlap. A NaN power owns nothing in its 3 x 3 neighbourhood.
 * Source: definition; dominance of time-frequency bins: Yilmaz & Rickard 2004. Plain reference: test/reference/ownership.ts.
 */
import { log2Vector } from './inline/log2';

/** Records of 32 bytes for 16 tracks (rows t-1, t, t+1 of sums over three bins, floor, scale, id), then f64[16], then the rows: three per track in turn. */
const RECORD_BYTES: usize = 32;
const SUMS_OFFSET: usize = 16 * 32;
const ROWS_OFFSET: usize = 16 * 32 + 16 * 8;
const NOBODY: i32 = 255;
const DB_PER_OCTAVE: f32 = 3.0102999566398120;

/** Bytes of the scratch. */
export function ownershipScratchBytes(binCount: i32, trackCount: i32): i32 {
  return <i32>ROWS_OFFSET + 12 * trackCount * binCount;
}

export function mapOwnership(
  powerPtr: usize, frameCount: i32, binCount: i32, trackCount: i32, floorPtr: usize, scalePtr: usize, lostPtr: usize,
  firstBin: i32, endBin: i32, leastSnr: f32, scratchPtr: usize, ownerPtr: usize, leadPtr: usize, ownedPtr: usize,
): void {
  sumBins(powerPtr, frameCount, binCount, trackCount, firstBin, endBin, 0, scratchPtr + ROWS_OFFSET);
  for (let t = 0; t < frameCount; t++) {
    if (t + 1 < frameCount) sumBins(powerPtr, frameCount, binCount, trackCount, firstBin, endBin, t + 1, scratchPtr + ROWS_OFFSET);
    const active = listTracks(frameCount, binCount, trackCount, floorPtr, scalePtr, lostPtr, t, scratchPtr);
    const row = <usize>t * <usize>binCount;
    const owners = ownerPtr + row, leads = leadPtr + (row << 2);
    memory.fill(owners, <u8>NOBODY, <usize>binCount);
    memory.fill(leads, 0, <usize>firstBin << 2);
    memory.fill(leads + (<usize>endBin << 2), 0, <usize>(binCount - endBin) << 2);
    for (let b = firstBin; b < endBin; b += 4) {
      // The last vector overlaps the one before it: same values again.
      decideVector(scratchPtr, active, min(b, endBin - 4), leastSnr, owners, leads);
    }
    sumOwned(powerPtr, frameCount, binCount, trackCount, floorPtr, t, firstBin, endBin, owners, scratchPtr + SUMS_OFFSET, ownedPtr);
  }
}

/** Sums over three bins of every track in frame t, into the rows of that frame. */
function sumBins(powerPtr: usize, frameCount: i32, binCount: i32, trackCount: i32, firstBin: i32, endBin: i32, t: i32, rowsPtr: usize): void {
  const rowBytes = <usize>binCount << 2;
  for (let j = 0; j < trackCount; j++) {
    const p = powerPtr + (<usize>j * <usize>frameCount + <usize>t) * rowBytes;
    const o = rowsPtr + (<usize>(t % 3) * <usize>trackCount + <usize>j) * rowBytes;
    for (let b = firstBin; b < endBin; b += 4) {
      const at = <usize>min(b, endBin - 4) << 2;
      v128.store(o + at, f32x4.add(f32x4.add(v128.load(p + at - 4), v128.load(p + at)), v128.load(p + at, 4)));
    }
  }
}

/** One record per track that is not lost in the frame; returns how many. */
function listTracks(
  frameCount: i32, binCount: i32, trackCount: i32, floorPtr: usize, scalePtr: usize, lostPtr: usize, t: i32, recordPtr: usize,
): i32 {
  const rowBytes = <usize>binCount << 2, frameBytes = <usize>trackCount * rowBytes;
  const before = <usize>(max(0, t - 1) % 3) * frameBytes, here = <usize>(t % 3) * frameBytes, after = <usize>(min(frameCount - 1, t + 1) % 3) * frameBytes;
  let record = recordPtr;
  for (let j = 0; j < trackCount; j++) {
    if (load<u8>(lostPtr + <usize>j * <usize>frameCount + <usize>t)) continue;
    const rows = recordPtr + ROWS_OFFSET + <usize>j * rowBytes;
    store<usize>(record, rows + before);
    store<usize>(record, rows + here, 4);
    store<usize>(record, rows + after, 8);
    store<usize>(record, floorPtr + <usize>j * rowBytes, 12);
    store<f32>(record, load<f32>(scalePtr + (<usize>j << 2)), 16);
    store<i32>(record, j, 20);
    record += RECORD_BYTES;
  }
  return <i32>((record - recordPtr) / RECORD_BYTES);
}

// @ts-ignore: decorator
@inline
function smoothPower(record: usize, at: usize): v128 {
  return f32x4.mul(f32x4.splat(1.0 / 9.0), f32x4.add(f32x4.add(v128.load(load<usize>(record) + at), v128.load(load<usize>(record, 4) + at)), v128.load(load<usize>(record, 8) + at)));
}

/** Whether any track is loud enough in any of four bins to own it: most are nobody's. */
// @ts-ignore: decorator
@inline
function isLoud(recordPtr: usize, active: i32, at: usize, least: v128): bool {
  let loud = i32x4.splat(0);
  const end = recordPtr + <usize>active * RECORD_BYTES;
  for (let record = recordPtr; record < end; record += RECORD_BYTES) {
    loud = v128.or(loud, f32x4.gt(smoothPower(record, at), f32x4.mul(least, v128.load(load<usize>(record, 12) + at))));
  }
  return v128.any_true(loud);
}

// @ts-ignore: decorator
@inline
function decideVector(recordPtr: usize, active: i32, b: i32, leastSnr: f32, owners: usize, leads: usize): void {
  const least = f32x4.splat(leastSnr), nobody = i32x4.splat(NOBODY);
  const at = <usize>b << 2;
  if (!isLoud(recordPtr, active, at, least)) {
    store<i32>(owners + <usize>b, -1);
    v128.store(leads + at, f32x4.splat(0));
    return;
  }
  let best = f32x4.splat(0), second = best, owner = nobody;
  let record = recordPtr;
  for (let n = 0; n < active; n++) {
    const smooth = smoothPower(record, at);
    const floor = v128.load(load<usize>(record, 12) + at);
    const q = f32x4.mul(f32x4.sub(smooth, floor), v128.load_splat<f32>(record, 16));
    const isAhead = f32x4.gt(q, best);
    // The order of operands lets a NaN change neither.
    second = f32x4.pmax(second, f32x4.pmin(q, best));
    best = f32x4.pmax(best, q);
    const claim = v128.or(v128.load_splat<i32>(record, 20), v128.andnot(nobody, f32x4.gt(smooth, f32x4.mul(least, floor))));
    owner = v128.bitselect(claim, owner, isAhead);
    record += RECORD_BYTES;
  }
  const isOwned = i32x4.ne(owner, nobody);
  let lead = f32x4.splat(0);
  if (v128.any_true(isOwned)) {
    const ratio = f32x4.min(f32x4.splat(1e6), f32x4.div(best, f32x4.max(second, f32x4.splat(1e-30))));
    lead = v128.and(isOwned, f32x4.mul(f32x4.splat(DB_PER_OCTAVE), log2Vector(ratio)));
  }
  const words = i16x8.narrow_i32x4_s(owner, owner);
  v128.store_lane<i32>(owners + <usize>b, i8x16.narrow_i16x8_u(words, words), 0);
  v128.store(leads + at, lead);
}

function sumOwned(
  powerPtr: usize, frameCount: i32, binCount: i32, trackCount: i32, floorPtr: usize, t: i32, firstBin: i32, endBin: i32, owners: usize,
  sumsPtr: usize, ownedPtr: usize,
): void {
  memory.fill(sumsPtr, 0, <usize>trackCount << 3);
  const trackBytes = (<usize>frameCount * <usize>binCount) << 2;
  const rowPtr = powerPtr + ((<usize>t * <usize>binCount) << 2);
  for (let b = firstBin; b < endBin; b++) {
    // Most bins are nobody's.
    if (b + 4 <= endBin && load<i32>(owners + <usize>b) == -1) {
      b += 3;
      continue;
    }
    const j = <usize>load<u8>(owners + <usize>b);
    if (j == <usize>NOBODY) continue;
    const at = <usize>b << 2;
    const excess = <f64>load<f32>(rowPtr + j * trackBytes + at) - <f64>load<f32>(floorPtr + ((j * <usize>binCount) << 2) + at);
    store<f64>(sumsPtr + (j << 3), load<f64>(sumsPtr + (j << 3)) + excess);
  }
  for (let j = 0; j < trackCount; j++) {
    store<f32>(ownedPtr + ((<usize>j * <usize>frameCount + <usize>t) << 2), <f32>load<f64>(sumsPtr + (<usize>j << 3)));
  }
}
