/**
 * Radix-4 stages of the real transform: four transforms of `span` points become one of 4 span.
 *
 * Formula: Y[k + q span] = sum over r of (-i)^(q r) exp(-i 2 pi k r / (4 span)) S_r[k], k = 0 .. span/2, the other bins are their conjugates. In half-complex
 * order (fft-blocks.ts) a butterfly writes where it read. bytes<A, B>() = 16 span. 24 bytes of twiddles (fft-table.ts) per k = 1 .. span/2 - 1. Called by fft.ts only.
 * Source: Sorensen, Jones, Heideman & Burrus 1987, IEEE TASSP 35(6) 849-863. Plain reference: test/reference/dft.ts.
 */
import { bytes } from './byte-steps';
import { multiplyAdd, subtractProduct } from './multiply-add';

const HALF_ROOT: f32 = 0.7071067811865476;

/** All blocks of 4 span points in `count` points, in place. */
export function runStage<A, B>(count: i32, twiddlePtr: usize, workPtr: usize): void {
  const step = bytes<A, B>();
  const end = workPtr + (<usize>count << 4);
  for (let block = workPtr; block < end; block += step << 2) {
    writeEdges(block, step, block, block + step, block + 3 * step, block + 2 * step);
    const half = block + (step >> 1);
    writeMiddle(half, step, half, half + 3 * step, half + step, half + 2 * step);
    let w = twiddlePtr;
    for (let up = block + 16, down = block + step - 16; up < down; up += 16, down -= 16, w += 24) butterfly<A, B, i32>(up, down, w, 0, 0, 0, 0);
  }
}

/** The last stage, of one block: writes bins 0 .. 2 span, [re x 4][im x 4], `stride` bytes apart. */
export function runLastStage<A, B>(twiddlePtr: usize, workPtr: usize, spectrumPtr: usize, stride: usize): void {
  const step = bytes<A, B>(), spanBytes = (step >> 4) * stride;
  let a = spectrumPtr, b = a + spanBytes, c = b, d = b + spanBytes;
  writeEdges(workPtr, step, a, b, b + 16, d);
  v128.store(a, f32x4.splat(0), 16);
  v128.store(d, f32x4.splat(0), 16);
  const half = a + (spanBytes >> 1), high = half + spanBytes;
  writeMiddle(workPtr + (step >> 1), step, half, half + 16, high, high + 16);
  let w = twiddlePtr;
  for (let up = workPtr + 16, down = workPtr + step - 16; up < down; up += 16, down -= 16, w += 24) {
    a += stride; b -= stride; c += stride; d -= stride;
    butterfly<A, B, f32>(up, down, w, a, b, c, d);
  }
}

/** k = 0: bins 0, span (real, imaginary) and 2 span. */
// @ts-ignore: decorator
@inline
function writeEdges(from: usize, step: usize, bin0: usize, binRe: usize, binIm: usize, bin2: usize): void {
  const a = v128.load(from), b = v128.load(from + step), c = v128.load(from + 2 * step), d = v128.load(from + 3 * step);
  const t = f32x4.add(a, c), u = f32x4.add(b, d);
  v128.store(bin0, f32x4.add(t, u));
  v128.store(binRe, f32x4.sub(a, c));
  v128.store(bin2, f32x4.sub(t, u));
  v128.store(binIm, f32x4.sub(d, b));
}

/** k = span / 2, where all four values are real: bins span/2 and 3 span/2. */
// @ts-ignore: decorator
@inline
function writeMiddle(from: usize, step: usize, lowRe: usize, lowIm: usize, highRe: usize, highIm: usize): void {
  const h = f32x4.splat(HALF_ROOT);
  const a = v128.load(from), b = v128.load(from + step), c = v128.load(from + 2 * step), d = v128.load(from + 3 * step);
  const v = f32x4.mul(h, f32x4.sub(b, d)), w = f32x4.mul(h, f32x4.add(b, d));
  v128.store(lowRe, f32x4.add(a, v));
  v128.store(lowIm, f32x4.neg(f32x4.add(c, w)));
  v128.store(highRe, f32x4.sub(a, v));
  v128.store(highIm, f32x4.sub(c, w));
}

/** Bins k, span - k, span + k and 2 span - k: where they were read (Place i32), or to a, b, c and d (Place f32). */
// @ts-ignore: decorator
@inline
function butterfly<A, B, Place>(up: usize, down: usize, w: usize, a: usize, b: usize, c: usize, d: usize): void {
  const br0 = v128.load(up, bytes<A, B>()), bi0 = v128.load(down, bytes<A, B>()), c1 = v128.load32_splat(w), s1 = v128.load32_splat(w, 4);
  const br = multiplyAdd(br0, c1, f32x4.mul(bi0, s1)), bi = subtractProduct(br0, s1, f32x4.mul(bi0, c1));
  const dr0 = v128.load(up, 3 * bytes<A, B>()), di0 = v128.load(down, 3 * bytes<A, B>()), c3 = v128.load32_splat(w, 16), s3 = v128.load32_splat(w, 20);
  const dr = multiplyAdd(dr0, c3, f32x4.mul(di0, s3)), di = subtractProduct(dr0, s3, f32x4.mul(di0, c3));
  const t2r = f32x4.add(br, dr), t2i = f32x4.add(bi, di), t3i = f32x4.sub(bi, di), t3n = f32x4.sub(dr, br);
  const cr0 = v128.load(up, 2 * bytes<A, B>()), ci0 = v128.load(down, 2 * bytes<A, B>()), c2 = v128.load32_splat(w, 8), s2 = v128.load32_splat(w, 12);
  const cr = multiplyAdd(cr0, c2, f32x4.mul(ci0, s2)), ci = subtractProduct(cr0, s2, f32x4.mul(ci0, c2));
  const ar = v128.load(up), ai = v128.load(down);
  const t0r = f32x4.add(ar, cr), t0i = f32x4.add(ai, ci), t1r = f32x4.sub(ar, cr), t1i = f32x4.sub(ai, ci);
  if (isInteger<Place>()) {
    v128.store(up, f32x4.add(t0r, t2r));
    v128.store(down, f32x4.add(t0i, t2i), 3 * bytes<A, B>());
    v128.store(down, f32x4.sub(t1r, t3i));
    v128.store(up, f32x4.sub(t3n, t1i), 3 * bytes<A, B>());
    v128.store(up, f32x4.add(t1r, t3i), bytes<A, B>());
    v128.store(down, f32x4.add(t1i, t3n), 2 * bytes<A, B>());
    v128.store(down, f32x4.sub(t0r, t2r), bytes<A, B>());
    v128.store(up, f32x4.sub(t2i, t0i), 2 * bytes<A, B>());
  } else {
    v128.store(a, f32x4.add(t0r, t2r));
    v128.store(a, f32x4.add(t0i, t2i), 16);
    v128.store(b, f32x4.sub(t1r, t3i));
    v128.store(b, f32x4.sub(t3n, t1i), 16);
    v128.store(c, f32x4.add(t1r, t3i));
    v128.store(c, f32x4.add(t1i, t3n), 16);
    v128.store(d, f32x4.sub(t0r, t2r));
    v128.store(d, f32x4.sub(t2i, t0i), 16);
  }
}
