/**
 * Tables of the real transform of n samples, a power of two from 8 to 8192.
 *
 * Formula: with m = n / 2, the transform is a complex one of m points (first stage radix 8 if log2(m) is odd, else radix 4, then radix 4)
 * and a split. Layout at tablePtr:
 *   u32[m / 4]        source index (in points) of output block q of the first stage: digit reversal; the second half unused for radix 8
 *   f32[6] per k      per radix-4 stage of span L (k = 0 .. L-1): cos, sin of 2 pi k r / (4 L) for r = 1, 2, 3
 *   f32[2] per k      split: cos, sin of 2 pi k / n for k = 0 .. m / 2
 * Written by fftPrepare, read by every transform. tablePtr must be 16-aligned and have fftTableBytes(n) bytes. Angles are reduced to an
 * eighth of a turn and evaluated in f64 by the compiler's software sine, so that the tables have the same bits on every machine.
 * Source: Cooley & Tukey 1965, decimation in time; Press et al., Numerical Recipes 12.3 for the split.
 * Plain reference: test/reference/dft.ts.
 */

/** 1 where n is a size that the transform knows. */
export function fftKnowsSize(n: i32): i32 {
  return n >= 8 && n <= 8192 && (n & (n - 1)) == 0 ? 1 : 0;
}

/** Bytes of the table of size n, a multiple of 16; 0 for a size that is not known. */
export function fftTableBytes(n: i32): i32 {
  if (!fftKnowsSize(n)) return 0;
  const m = n >> 1;
  let bytes = (m >> 2) * 4;
  for (let span = firstRadix4Span(m); span < m; span <<= 2) bytes += span * 24;
  bytes += ((m >> 1) + 1) * 8;
  return (bytes + 15) & ~15;
}

/** Span (sub-transform length) at which the radix-4 stages after the first begin. */
// @ts-ignore: decorator
@inline
export function firstRadix4Span(m: i32): i32 {
  return ctz(m) & 1 ? 8 : 4;
}

/** Writes the table; returns 1, or 0 (nothing written) for a size that is not known. */
export function fftPrepare(n: i32, tablePtr: usize): i32 {
  if (!fftKnowsSize(n)) return 0;
  const m = n >> 1;
  let p = tablePtr;
  const first = firstRadix4Span(m);
  for (let q = 0; q < m >> 2; q++) {
    store<u32>(p, q < m / first ? sourceOfBlock(q, m, first) : 0);
    p += 4;
  }
  for (let span = firstRadix4Span(m); span < m; span <<= 2) {
    for (let k = 0; k < span; k++) {
      for (let r = 1; r < 4; r++) {
        storeTurn(p, (k * r) % (4 * span), 4 * span);
        p += 8;
      }
    }
  }
  for (let k = 0; k <= m >> 1; k++) {
    storeTurn(p, k, n);
    p += 8;
  }
  return 1;
}

function sourceOfBlock(block: i32, m: i32, first: i32): u32 {
  let position = block * first;
  let size = m;
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
