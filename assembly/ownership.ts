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
import { sumOwned } from './inline/sum-owned';

/** f64[16] of sums, then a mask and a smoothed vector per track, then rows of f32[binCount] per track: sums over three bins of three frames in turn, and the least power that owns. */
const MASKS_OFFSET: usize = 16 * 8;
const SMOOTH_OFFSET: usize = MASKS_OFFSET + 16 * 16;
const ROWS_OFFSET: usize = SMOOTH_OFFSET + 16 * 16;
const NOBODY: i32 = 255;
const DB_PER_OCTAVE: f32 = 3.0102999566398120;

/** Bytes of the scratch. */
export function ownershipScratchBytes(binCount: i32, trackCount: i32): i32 {
  return <i32>ROWS_OFFSET + 16 * trackCount * binCount;
}

export function mapOwnership(
  powerPtr: usize, frameCount: i32, binCount: i32, trackCount: i32, floorPtr: usize, scalePtr: usize, lostPtr: usize,
  firstBin: i32, endBin: i32, leastSnr: f32, scratchPtr: usize, ownerPtr: usize, leadPtr: usize, ownedPtr: usize,
): void {
  const rowBytes: usize = <usize>binCount << 2, turnBytes: usize = <usize>trackCount * rowBytes, trackBytes: usize = <usize>frameCount * rowBytes;
  const rows = scratchPtr + ROWS_OFFSET;
  const leastShift: usize = 3 * turnBytes, floorShift: usize = floorPtr - rows;
  for (let b = firstBin; b < endBin; b += 4) {
    const at = <usize>min(b, endBin - 4) << 2;
    for (let j = 0, p = powerPtr + at, r = rows + at; j < trackCount; j++, p += trackBytes, r += rowBytes) {
      v128.store(r, sumBins(p));
      v128.store(r + leastShift, f32x4.mul(f32x4.splat(leastSnr), v128.load(r + floorShift)));
    }
  }
  for (let t = 0; t < frameCount; t++) {
    const before = <usize>(max(0, t - 1) % 3) * turnBytes, here = <usize>(t % 3) * turnBytes, after = <usize>((t + 1) % 3) * turnBytes;
    const hasNext = t + 1 < frameCount;
    const next = powerPtr + <usize>(t + 1) * rowBytes;
    maskTracks(frameCount, trackCount, lostPtr + <usize>t, scratchPtr + MASKS_OFFSET);
    const row = <usize>t * <usize>binCount;
    const owners = ownerPtr + row, leads = leadPtr + (row << 2);
    fillOutside(owners, leads, 0, firstBin);
    fillOutside(owners, leads, endBin, binCount);
    for (let b = firstBin; b < endBin; b += 4) {
      // The last vector overlaps the one before it: same values again.
      const bin = <usize>min(b, endBin - 4), at = bin << 2;
      const isLoud = hasNext
        ? smoothTracks<i32>(scratchPtr, trackCount, rows + at, rowBytes, before, here, after, leastShift, next + at, trackBytes)
        : smoothTracks<f32>(scratchPtr, trackCount, rows + at, rowBytes, before, here, here, leastShift, 0, 0);
      if (isLoud) decideVector(scratchPtr + SMOOTH_OFFSET, trackCount, rows + at, rowBytes, leastShift, floorShift, scalePtr, owners + bin, leads + at);
      else {
        // Most are nobody's.
        store<i32>(owners + bin, -1);
        v128.store(leads + at, f32x4.splat(0));
      }
    }
    sumOwned(powerPtr + <usize>t * rowBytes, trackBytes, rowBytes, trackCount, floorPtr, firstBin, endBin, owners, scratchPtr, ownedPtr + (<usize>t << 2), <usize>frameCount << 2);
  }
}

function fillOutside(owners: usize, leads: usize, from: i32, to: i32): void {
  for (let b = <usize>from; b < <usize>to; b++) {
    store<u8>(owners + b, <u8>NOBODY);
    store<f32>(leads + (b << 2), 0);
  }
}

/** All bits where a track counts, none where it is lost in the frame. */
function maskTracks(frameCount: i32, trackCount: i32, lostPtr: usize, maskPtr: usize): void {
  for (let j: usize = 0; j < <usize>trackCount; j++) v128.store(maskPtr + (j << 4), i32x4.splat(load<u8>(lostPtr + j * <usize>frameCount) ? 0 : -1));
}

// @ts-ignore: decorator
@inline
function sumBins(p: usize): v128 {
  return f32x4.add(f32x4.add(v128.load(p - 4), v128.load(p)), v128.load(p, 4));
}

/**
 * Smooths four bins of every track, 0 where it is lost, and takes the sums of the next frame (Next i32) or has none (f32).
 * Whether any track is loud enough in any of them to own it.
 */
// @ts-ignore: decorator
@inline
function smoothTracks<Next>(
  scratchPtr: usize, trackCount: i32, rowPtr: usize, rowBytes: usize, before: usize, here: usize, after: usize, leastShift: usize, nextPtr: usize, trackBytes: usize,
): bool {
  let loud = i32x4.splat(0);
  let r = rowPtr, p = nextPtr;
  const end = scratchPtr + MASKS_OFFSET + (<usize>trackCount << 4);
  for (let mask = scratchPtr + MASKS_OFFSET; mask < end; mask += 16, r += rowBytes) {
    let last: v128;
    if (isInteger<Next>()) {
      last = sumBins(p);
      v128.store(r + after, last);
      p += trackBytes;
    } else last = v128.load(r + after);
    const sum = f32x4.add(f32x4.add(v128.load(r + before), v128.load(r + here)), last);
    const smooth = v128.and(v128.load(mask), f32x4.mul(f32x4.splat(1.0 / 9.0), sum));
    v128.store(mask, smooth, SMOOTH_OFFSET - MASKS_OFFSET);
    loud = v128.or(loud, f32x4.gt(smooth, v128.load(r + leastShift)));
  }
  return v128.any_true(loud);
}

// @ts-ignore: decorator
@inline
function decideVector(
  smoothPtr: usize, trackCount: i32, rowPtr: usize, rowBytes: usize, leastShift: usize, floorShift: usize, scalePtr: usize, owners: usize, leads: usize,
): void {
  const nobody = i32x4.splat(NOBODY);
  let best = f32x4.splat(0), second = best, owner = nobody;
  let r = rowPtr;
  for (let j = 0; j < trackCount; j++, r += rowBytes) {
    const smooth = v128.load(smoothPtr + (<usize>j << 4));
    const q = f32x4.mul(f32x4.sub(smooth, v128.load(r + floorShift)), v128.load_splat<f32>(scalePtr + (<usize>j << 2)));
    const isAhead = f32x4.gt(q, best);
    // The order of operands lets a NaN change neither.
    second = f32x4.pmax(second, f32x4.pmin(q, best));
    best = f32x4.pmax(best, q);
    const claim = v128.or(i32x4.splat(j), v128.andnot(nobody, f32x4.gt(smooth, v128.load(r + leastShift))));
    owner = v128.bitselect(claim, owner, isAhead);
  }
  const isOwned = i32x4.ne(owner, nobody);
  let lead = f32x4.splat(0);
  if (v128.any_true(isOwned)) {
    const ratio = f32x4.min(f32x4.splat(1e6), f32x4.div(best, f32x4.max(second, f32x4.splat(1e-30))));
    lead = v128.and(isOwned, f32x4.mul(f32x4.splat(DB_PER_OCTAVE), log2Vector(ratio)));
  }
  const words = i16x8.narrow_i32x4_s(owner, owner);
  v128.store_lane<i32>(owners, i8x16.narrow_i16x8_u(words, words), 0);
  v128.store(leads, lead);
}
