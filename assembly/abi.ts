/**
 * The contract between kernels and host, in one place.
 *
 * Pointers are byte addresses in the one imported memory. The host owns every byte from heapStart() on and passes it in; kernels
 * allocate nothing, keep nothing between calls and write only where a pointer is named as written.
 * A track is a row of f32 samples: sample i of track t lies at signalPtr + 4 * (t * trackStrideFrames + i).
 * A lane is one of the four f32 of a v128; tracks 4g .. 4g+3 form group g, and tracks that do not exist are lanes of zeros.
 * A spectrum has binCount = n / 2 + 1 bins; a bin of one group is [re x 4][im x 4], a bin of all groups lies together:
 * value(s, k, g) = spectraPtr + POINT_BYTES * ((s * binCount + k) * groupCount + g).
 * A pair (i, j), i < j, of T tracks has index i * (2T - i - 1) / 2 + (j - i - 1).
 * Positive lag: track j is later than track i.
 */

/** Bytes of a v128. */
export const VECTOR_BYTES: usize = 16;
/** Bytes of one complex value of four lanes: [re x 4][im x 4]. */
export const POINT_BYTES: usize = 32;
/** Bytes of an f32. */
export const SAMPLE_BYTES: usize = 4;
/** Version of this contract; the host refuses another. */
export const ABI_VERSION: i32 = 8;

export function abiVersion(): i32 {
  return ABI_VERSION;
}

/** First byte that the host may use; the bytes below hold the module's own constants. */
export function heapStart(): usize {
  return __heap_base;
}

// @ts-ignore: decorator
@inline
export function countGroups(trackCount: i32): i32 {
  return (trackCount + 3) >> 2;
}

// @ts-ignore: decorator
@inline
export function pairIndex(i: i32, j: i32, trackCount: i32): i32 {
  return ((i * (2 * trackCount - i - 1)) >> 1) + (j - i - 1);
}
