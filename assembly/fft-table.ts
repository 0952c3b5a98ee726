/**
 * Tables of the real transform of n samples, a power of two from 8 to 8192.
 *
 * Formula: blocks of first = 8 real points (16 where log2(n) is even), then radix-4 stages of span = first, 4 first, ... n / 4. Layout at tablePtr:
 *   u32 per block     of the first quarter, source (first sample): digit reversal; the other quarters' are 1, 2 and 3 higher; rounded up to 16 bytes
 *   f32[6] per k      of span 4 (blocks of 16 only) and of each stage, k = 1 .. span/2 - 1: cos, sin of 2 pi k r / (4 span) for r = 1, 2, 3
 * Written by fftPrepare, read by every transform. tablePtr must be 16-aligned and have fftTableBytes(n) bytes. Angles are reduced to an
 * eighth of a turn and evaluated in f64 by the compiler's software sine, so that the tables have the same bits on every machine.
 * Source: Sorensen, Jones, Heideman & Burrus 1987, decimation in time. Plain reference: test/reference/dft.ts.
 */

/** 1 where n is a size that the transform knows. */
export function fftKnowsSize(n: i32): i32 {
  return n >= 8 && n <= 8192 && (n & (n - 1)) == 0 ? 1 : 0;
}

/** Bytes of the table of size n, a multiple of 16; 0 for a size that is not known. */
export function fftTableBytes(n: i32): i32 {
  if (!fftKnowsSize(n)) return 0;
  return (<i32>twiddlesAt(n, n) + 15) & ~15;
}

/** Points of a block. */
// @ts-ignore: decorator
@inline
export function firstSpan(n: i32): i32 {
  return ctz(n) & 1 ? 8 : 16;
}

/** Span of the lowest radix-4 stage, which blocks of 16 hold already. */
// @ts-ignore: decorator
@inline
export function lowestSpan(n: i32): i32 {
  return ctz(n) & 1 ? 8 : 4;
}

/** Bytes from the table's begin to the twiddles of a stage. */
// @ts-ignore: decorator
@inline
export function twiddlesAt(n: i32, span: i32): usize {
  let at = orderBytes(n);
  for (let s = lowestSpan(n); s < span; s <<= 2) at += twiddleBytes(s);
  return at;
}

// @ts-ignore: decorator
@inline
function orderBytes(n: i32): usize {
  return (<usize>blocksPerQuarter(n) * 4 + 15) & ~15;
}

/** Blocks in a quarter of the transform; 1 where there is but one in all. */
// @ts-ignore: decorator
@inline
export function blocksPerQuarter(n: i32): i32 {
  return max(1, n / (4 * firstSpan(n)));
}

// @ts-ignore: decorator
@inline
function twiddleBytes(span: i32): usize {
  return <usize>((span >> 1) - 1) * 24;
}

/** Writes the table; returns 1, or 0 (nothing written) for a size that is not known. */
export function fftPrepare(n: i32, tablePtr: usize): i32 {
  if (!fftKnowsSize(n)) return 0;
  const first = firstSpan(n);
  for (let q = 0; q < blocksPerQuarter(n); q++) store<u32>(tablePtr + (<usize>q << 2), sourceOfBlock(q, n, first));
  let p = tablePtr + orderBytes(n);
  for (let span = lowestSpan(n); span < n; span <<= 2) {
    for (let k = 1; k < span >> 1; k++) {
      for (let r = 1; r < 4; r++) {
        storeTurn(p, (k * r) % (4 * span), 4 * span);
        p += 8;
      }
    }
  }
  return 1;
}

function sourceOfBlock(block: i32, n: i32, first: i32): u32 {
  let position = block * first;
  let size = n;
  let step = 1;
  let source = 0;
  while (size > first) {
    const sub = size >> 2;
    source += (position / sub) * step;
    position %= sub;
    step <<= 2;
    size = sub;
  }
  return <u32>source;
}

/** cos and sin of 2 pi k / n, 0 <= k < n, n a multiple of 8 or a power of two. */
function storeTurn(ptr: usize, k: i32, n: i32): void {
  const eighth = (8 * k) / n;
  const isOdd = eighth & 1;
  // Distance to the octant's axis: exact in integers, at most n / 8.
  const quarter = (eighth + 1) >> 1;
  const rest = 4 * k - quarter * n;
  const angle = (Math.PI / 2) * (<f64>abs(rest) / <f64>n);
  const c = Math.cos(angle);
  const s = isOdd ? -Math.sin(angle) : Math.sin(angle);
  let re = c;
  let im = s;
  if ((quarter & 3) == 1) { re = -s; im = c; }
  else if ((quarter & 3) == 2) { re = -c; im = -s; }
  else if ((quarter & 3) == 3) { re = s; im = -c; }
  store<f32>(ptr, <f32>re);
  store<f32>(ptr + 4, <f32>im);
}
