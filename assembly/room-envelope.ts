/**
 * Envelope of one track and, beside it, of the room: the median of the others' envelopes.
 *
 * Formula: y[i] = b (x[i] - 2 x[i-1] + x[i-2]) - a1 y[i-1] - a2 y[i-2] from frame max(0, first - warmFrames) on, all before it 0;
 * e[i] = (1 / width) sum of y^2 over frames i + half - width + 1 .. i + half, half = width >> 1, taking frames outside [first, last) as 0;
 * own[i] = e of track own; room[i] = the upper median over the listed tracks of scale_j max(0, e_j - noise_j). i = first .. last-1.
 *   signalPtr  read    planar f32 tracks (abi.ts), 4-aligned
 *   filterPtr  read    f64[3] b a1 a2, 8-aligned
 *   listPtr    read    listCount <= 16 records of i32 track, f32 noise, f32 scale; listCount 0 leaves room unwritten
 *   scratchPtr written roomScratchBytes(trackCount, width), 16-aligned
 *   ownPtr, roomPtr written f32[last - first], 4-aligned
 * 0 <= first < last <= frameCount, width >= 1. Filter and sums run in f64: deep lows and long sums cost no precision. Nothing may overlap.
 * A NaN sample spoils its own track from there on, and the room with it.
 * Source: definition. Plain reference: test/reference/room-envelope.ts.
 */
import { countGroups } from './abi';
import { filterSquares, runMeans, STATE_BYTES } from './inline/highpass';
import { loadLanes } from './inline/lanes';

/** Frames per block. */
const BLOCK: i32 = 128;
const ROW_BYTES: usize = 128 * 4;
const LANES_BYTES: usize = 128 * 16;
const SQUARES_BYTES: usize = 128 * 32;
const SORT_BYTES: usize = 16 * 16;
const RECORD_BYTES: usize = 12;

/** Bytes of the scratch: lanes, squares, sorted column, room row, then per group state, sums, ring and four rows. */
export function roomScratchBytes(trackCount: i32, width: i32): i32 {
  return <i32>(LANES_BYTES + SQUARES_BYTES + SORT_BYTES + ROW_BYTES + <usize>countGroups(trackCount) * groupBytes(width));
}

// @ts-ignore: decorator
@inline
function groupBytes(width: i32): usize {
  return STATE_BYTES + 32 + (<usize>width << 5) + 4 * ROW_BYTES;
}

export function roomEnvelope(
  signalPtr: usize, strideFrames: i32, trackCount: i32, frameCount: i32, first: i32, last: i32, warmFrames: i32, filterPtr: usize,
  width: i32, own: i32, listPtr: usize, listCount: i32, scratchPtr: usize, ownPtr: usize, roomPtr: usize,
): void {
  const squaresPtr = scratchPtr + LANES_BYTES, sortPtr = squaresPtr + SQUARES_BYTES, roomRow = sortPtr + SORT_BYTES;
  const groupsPtr = roomRow + ROW_BYTES;
  const groups = countGroups(trackCount), half = width >> 1, step = groupBytes(width);
  memory.fill(groupsPtr, 0, <usize>groups * step);
  let position = 0;
  let next = 0;
  for (let start = max(0, first - warmFrames); start < last + half; start = next) {
    const isWarm = start < first, isTail = start >= last;
    next = min(start + BLOCK, isWarm ? first : isTail ? last + half : last);
    const count = next - start;
    let moved = position;
    for (let g = 0; g < groups; g++) {
      const state = groupsPtr + <usize>g * step, sums = state + STATE_BYTES, rows = sums + 32, ring = rows + 4 * ROW_BYTES;
      if (isTail) memory.fill(squaresPtr, 0, <usize>count << 5);
      else {
        loadLanes(signalPtr, strideFrames, 4 * g, trackCount, start, frameCount, 0, count, count, scratchPtr);
        filterSquares(scratchPtr, count, filterPtr, state, squaresPtr);
        if (isWarm) continue;
      }
      moved = runMeans(squaresPtr, count, width, position, sums, ring, scratchPtr);
      storeRows(scratchPtr, count, rows);
    }
    position = moved;
    if (isWarm) continue;
    // Means are ready half a width after their centre.
    const target = start - first - half;
    const skip = max(0, -target);
    if (skip >= count) continue;
    const bytes = <usize>(count - skip) << 2, from = <usize>skip << 2, to = <usize>(target + skip) << 2;
    memory.copy(ownPtr + to, rowOf(groupsPtr, step, own) + from, bytes);
    if (listCount == 0) continue;
    for (let i: usize = 0; i < <usize>count << 2; i += 16) v128.store(roomRow + i, findMedian(groupsPtr, step, listPtr, listCount, i, sortPtr));
    memory.copy(roomPtr + to, roomRow + from, bytes);
  }
}

// @ts-ignore: decorator
@inline
function rowOf(groupsPtr: usize, step: usize, track: i32): usize {
  return groupsPtr + <usize>(track >> 2) * step + STATE_BYTES + 32 + <usize>(track & 3) * ROW_BYTES;
}

function storeRows(lanesPtr: usize, count: i32, rows: usize): void {
  let p = lanesPtr;
  for (let i: usize = 0; i < <usize>count << 2; i += 16) {
    const a = v128.load(p), b = v128.load(p, 16), c = v128.load(p, 32), d = v128.load(p, 48);
    const e = v128.shuffle<f32>(a, b, 0, 4, 1, 5), f = v128.shuffle<f32>(c, d, 0, 4, 1, 5);
    const g = v128.shuffle<f32>(a, b, 2, 6, 3, 7), h = v128.shuffle<f32>(c, d, 2, 6, 3, 7);
    v128.store(rows + i, v128.shuffle<f32>(e, f, 0, 1, 4, 5));
    v128.store(rows + i + ROW_BYTES, v128.shuffle<f32>(e, f, 2, 3, 6, 7));
    v128.store(rows + i + 2 * ROW_BYTES, v128.shuffle<f32>(g, h, 0, 1, 4, 5));
    v128.store(rows + i + 3 * ROW_BYTES, v128.shuffle<f32>(g, h, 2, 3, 6, 7));
    p += 64;
  }
}

/** Upper median of four frames at byte i of the rows: the largest are moved to the end until the middle is in place. */
function findMedian(groupsPtr: usize, step: usize, listPtr: usize, listCount: i32, i: usize, sortPtr: usize): v128 {
  const zero = f32x4.splat(0);
  for (let n = 0; n < listCount; n++) {
    const record = listPtr + <usize>n * RECORD_BYTES;
    const e = v128.load(rowOf(groupsPtr, step, load<i32>(record)) + i);
    const over = f32x4.max(zero, f32x4.sub(e, v128.load_splat<f32>(record, 4)));
    v128.store(sortPtr + (<usize>n << 4), f32x4.mul(over, v128.load_splat<f32>(record, 8)));
  }
  const middle = listCount >> 1;
  for (let end = listCount - 1; end >= middle; end--) {
    let largest = v128.load(sortPtr);
    for (let n = 0; n < end; n++) {
      const p = sortPtr + (<usize>n << 4);
      const other = v128.load(p, 16);
      v128.store(p, f32x4.min(largest, other));
      largest = f32x4.max(largest, other);
    }
    v128.store(sortPtr + (<usize>end << 4), largest);
  }
  return v128.load(sortPtr + (<usize>middle << 4));
}
