/**
 * Sums of the leaves that rows of features fall into in a forest of boosted trees, up to 128 rows at once, a bit of a vector for each. No branch depends on a row, so that
 * nothing has to be foreseen. Compare Lucchese et al. 2015 (SIGIR), where leaves are bits.
 *
 * Formula: out[k] = out[k] + sum over trees, in their order, of the leaf that row k reaches; from a node x[feature] < threshold goes to the lower child, all else (and not-a-number)
 *   to the upper one.
 *
 * markThresholds: which rows pass each threshold.
 *   rowsPtr    read    f64 [row][width], rowCount <= 128
 *   startsPtr  read    i32[width + 1]: thresholds of feature f are cuts[starts[f]] .. cuts[starts[f + 1] - 1], rising
 *   cutsPtr    read    f64
 *   passedPtr  written v128 [starts[width] + width]: of threshold c of feature f the rows that pass it at c + f; one place more behind each feature's last. 16-aligned
 * addLeaves: their sums.
 *   treesPtr   read    i32 [tree][2] and one pair more: bytes of `nodes`, and leaves, before this tree
 *   nodesPtr   read    i32 [inner node][2], parents first: byte offset of its threshold in `passed`; byte offsets in `slots` of the lower (low 16 bits) and the upper child
 *   leavesPtr  read    f64
 *   passedPtr  read    as written above
 *   slotsPtr   written v128[512 + 8 + 8]: slots of leaves, from 256 on of inner nodes, the root first; bits of the leaves' numbers; the numbers. 16-aligned
 *   outPtr     read and written f64[rowCount]
 * Restrictions: at most 256 leaves in a tree. Nothing may overlap. Plain reference: test/reference/forest.ts.
 */
const ROOT: usize = 256 << 4;
const BITS: usize = 512 << 4;
const NUMBERS: usize = 520 << 4;

export function markThresholds(rowsPtr: usize, rowCount: i32, width: i32, startsPtr: usize, cutsPtr: usize, passedPtr: usize): void {
  const placeCount = load<i32>(startsPtr + (<usize>width << 2)) + width;
  memory.fill(passedPtr, 0, <usize>placeCount << 4);
  for (let f = 0; f < width; f++) {
    const first = load<i32>(startsPtr + (<usize>f << 2)), count = load<i32>(startsPtr + (<usize>f << 2) + 4) - first;
    const cuts = cutsPtr + (<usize>first << 3), places = passedPtr + (<usize>(first + f) << 4);
    for (let k = 0; k < rowCount; k++) {
      const place = places + (<usize>countPassed(cuts, count, load<f64>(rowsPtr + (<usize>(k * width + f) << 3))) << 4) + <usize>(k >> 3);
      store<u8>(place, load<u8>(place) | <u8>(<i32>1 << (k & 7)));
    }
    let above = i64x2.splat(0);
    for (let p = places + (<usize>count << 4); p >= places; p -= 16) {
      const here = v128.load(p);
      v128.store(p, above);
      above = v128.or(above, here);
    }
  }
}

/** Thresholds that a value is not below. */
// @ts-ignore: decorator
@inline
function countPassed(cuts: usize, count: i32, value: f64): i32 {
  let low = 0;
  for (let left = count; left > 0;) {
    const half = (left + 1) >> 1;
    low += half & -i32(!(value < load<f64>(cuts + (<usize>(low + half - 1) << 3))));
    left -= half;
  }
  return low;
}

export function addLeaves(treesPtr: usize, treeCount: i32, nodesPtr: usize, leavesPtr: usize, passedPtr: usize, slotsPtr: usize, rowCount: i32, outPtr: usize): void {
  v128.store(slotsPtr + ROOT, i64x2.splat(-1));
  for (let tree = treesPtr, end = treesPtr + (<usize>treeCount << 3); tree < end; tree += 8) {
    let slot = slotsPtr + ROOT;
    for (let node = nodesPtr + <usize>load<u32>(tree), last = nodesPtr + <usize>load<u32>(tree, 8); node < last; node += 8) {
      const here = v128.load(slot), up = v128.and(here, v128.load(passedPtr + <usize>load<u32>(node)));
      v128.store(slotsPtr + <usize>load<u16>(node, 4), v128.xor(here, up));
      v128.store(slotsPtr + <usize>load<u16>(node, 6), up);
      slot += 16;
    }
    const firstLeaf = load<i32>(tree, 4);
    const bitCount = sumBits(slotsPtr, load<i32>(tree, 12) - firstLeaf);
    spreadNumbers(slotsPtr, bitCount, rowCount);
    const leaves = leavesPtr + (<usize>firstLeaf << 3);
    for (let k: usize = 0; k < <usize>rowCount; k++) {
      const out = outPtr + (k << 3);
      store<f64>(out, load<f64>(out) + load<f64>(leaves + (<usize>load<u8>(slotsPtr + k, NUMBERS) << 3)));
    }
  }
}

/** Rows in leaves whose number has bit 0, 1, ...; leaves are joined pair by pair. Gives the count of bits. */
function sumBits(slotsPtr: usize, leafCount: i32): i32 {
  let bit = 0;
  for (let left = leafCount; left > 1; bit++) {
    if (left & 1) v128.store(slotsPtr + (<usize>left << 4), i64x2.splat(0));
    left = (left + 1) >> 1;
    let odd = i64x2.splat(0);
    for (let to = slotsPtr, from = slotsPtr, end = slotsPtr + (<usize>left << 4); to < end; to += 16, from += 32) {
      const other = v128.load(from, 16);
      odd = v128.or(odd, other);
      v128.store(to, v128.or(v128.load(from), other));
    }
    v128.store(slotsPtr + BITS + (<usize>bit << 4), odd);
  }
  return bit;
}

/** From bits of rows to a number for each. */
// @ts-ignore: decorator
@inline
function spreadNumbers(slotsPtr: usize, bitCount: i32, rowCount: i32): void {
  const ones = i8x16(1, 2, 4, 8, 16, 32, 64, -128, 1, 2, 4, 8, 16, 32, 64, -128);
  for (let k = 0; k < rowCount; k += 16) {
    let numbers = i64x2.splat(0);
    for (let bit = 0; bit < bitCount; bit++) {
      const two = v128.load16_splat(slotsPtr + BITS + (<usize>bit << 4) + <usize>(k >> 3));
      const each = i8x16.shuffle(two, two, 0, 0, 0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1, 1, 1);
      numbers = v128.or(numbers, v128.and(i8x16.eq(v128.and(each, ones), ones), i8x16.splat(<i8>(<i32>1 << bit))));
    }
    v128.store(slotsPtr + NUMBERS + <usize>k, numbers);
  }
}
