/**
 * The real transform backwards: what fft-stages.ts and fft-blocks.ts do, undone in the opposite order.
 *
 * Formula: S_r[k] = exp(2 pi i k r / (4 span)) sum over q of i^(q r) Y[k + q span], 4 times what the stage began with; the blocks of 8 or 16 give 8 or
 * 16 times their samples. Same order and twiddles. Called by fft.ts only.
 * Source: Sorensen, Jones, Heideman & Burrus 1987, IEEE TASSP 35(6) 849-863. Plain reference: test/reference/dft.ts.
 */
import { blocksPerQuarter } from '../fft-table';
import { bytes } from './byte-steps';
import { multiplyAdd, subtractProduct } from './multiply-add';

const ROOT: f32 = 1.4142135623730951;

/** From bins 0 .. 2 span times `factor` (imaginary parts of the first and last ignored) to four transforms of `span` points. */
export function undoLastStage<A, B>(twiddlePtr: usize, spectrumPtr: usize, stride: usize, factor: f32, workPtr: usize): void {
  const scale = f32x4.splat(factor);
  const step = bytes<A, B>(), spanBytes = (step >> 4) * stride;
  let a = spectrumPtr, b = a + spanBytes, c = b, d = b + spanBytes;
  undoEdges(scale, a, b, b + 16, d, workPtr, step);
  const half = a + (spanBytes >> 1), high = half + spanBytes;
  undoMiddle(scale, half, half + 16, high, high + 16, workPtr + (step >> 1), step);
  let w = twiddlePtr;
  let down = workPtr + step - 16;
  for (let up = workPtr + 16; up < down; up += 16, down -= 16, w += 24) {
    a += stride; b -= stride; c += stride; d -= stride;
    undoButterfly<A, B, f32>(scale, a, b, c, d, w, up, down);
  }
}

/** All blocks of 4 span points in `count` points, in place. */
export function undoStage<A, B>(count: i32, twiddlePtr: usize, workPtr: usize): void {
  const one = f32x4.splat(1);
  const step = bytes<A, B>();
  const end = workPtr + (<usize>count << 4);
  for (let block = workPtr; block < end; block += step << 2) {
    undoEdges(one, block, block + step, block + 3 * step, block + 2 * step, block, step);
    const half = block + (step >> 1);
    undoMiddle(one, half, half + 3 * step, half + step, half + 2 * step, half, step);
    let w = twiddlePtr;
    for (let up = block + 16, down = block + step - 16; up < down; up += 16, down -= 16, w += 24) undoButterfly<A, B, i32>(one, 0, 0, 0, 0, w, up, down);
  }
}

// @ts-ignore: decorator
@inline
function undoEdges(scale: v128, bin0: usize, binRe: usize, binIm: usize, bin2: usize, to: usize, step: usize): void {
  const p = f32x4.mul(scale, v128.load(bin0)), q = f32x4.mul(scale, v128.load(bin2));
  const r = f32x4.mul(scale, v128.load(binRe)), i = f32x4.mul(scale, v128.load(binIm));
  const t = f32x4.add(p, q), u = f32x4.sub(p, q), re = f32x4.add(r, r), im = f32x4.add(i, i);
  v128.store(to, f32x4.add(t, re));
  v128.store(to + step, f32x4.sub(u, im));
  v128.store(to + 2 * step, f32x4.sub(t, re));
  v128.store(to + 3 * step, f32x4.add(u, im));
}

// @ts-ignore: decorator
@inline
function undoMiddle(scale: v128, lowRe: usize, lowIm: usize, highRe: usize, highIm: usize, to: usize, step: usize): void {
  const root = f32x4.splat(ROOT);
  const ar = f32x4.mul(scale, v128.load(lowRe)), ai = f32x4.mul(scale, v128.load(lowIm));
  const br = f32x4.mul(scale, v128.load(highRe)), bi = f32x4.mul(scale, v128.load(highIm));
  const s = f32x4.add(ar, br), t = f32x4.sub(bi, ai), u = f32x4.sub(ar, br), v = f32x4.add(ai, bi);
  v128.store(to, f32x4.add(s, s));
  v128.store(to + step, f32x4.mul(root, f32x4.sub(u, v)));
  v128.store(to + 2 * step, f32x4.add(t, t));
  v128.store(to + 3 * step, f32x4.neg(f32x4.mul(root, f32x4.add(u, v))));
}

/** Bins k, span - k, span + k and 2 span - k: from where they go back to (Place i32), or from a, b, c and d, scaled (Place f32). */
// @ts-ignore: decorator
@inline
function undoButterfly<A, B, Place>(scale: v128, a: usize, b: usize, c: usize, d: usize, w: usize, up: usize, down: usize): void {
  let ar: v128, ai: v128, br: v128, bi: v128, cr: v128, ci: v128, dr: v128, di: v128;
  if (isInteger<Place>()) {
    ar = v128.load(up); ai = v128.load(down, 3 * bytes<A, B>()); dr = v128.load(down, bytes<A, B>()); di = v128.load(up, 2 * bytes<A, B>());
    cr = v128.load(up, bytes<A, B>()); ci = v128.load(down, 2 * bytes<A, B>()); br = v128.load(down); bi = v128.load(up, 3 * bytes<A, B>());
  } else {
    ar = f32x4.mul(scale, v128.load(a)); ai = f32x4.mul(scale, v128.load(a, 16)); dr = f32x4.mul(scale, v128.load(d)); di = f32x4.mul(scale, v128.load(d, 16));
    cr = f32x4.mul(scale, v128.load(c)); ci = f32x4.mul(scale, v128.load(c, 16)); br = f32x4.mul(scale, v128.load(b)); bi = f32x4.mul(scale, v128.load(b, 16));
  }
  const t0r = f32x4.add(ar, dr), t0i = f32x4.sub(ai, di), t1r = f32x4.sub(ar, dr), t1i = f32x4.add(ai, di);
  const t2r = f32x4.add(cr, br), t2i = f32x4.sub(ci, bi), t3r = f32x4.sub(cr, br), t3i = f32x4.add(ci, bi);
  v128.store(up, f32x4.add(t0r, t2r));
  v128.store(down, f32x4.add(t0i, t2i));
  const r1 = f32x4.sub(t1r, t3i), i1 = f32x4.add(t1i, t3r), c1 = v128.load32_splat(w), s1 = v128.load32_splat(w, 4);
  v128.store(up, subtractProduct(i1, s1, f32x4.mul(r1, c1)), bytes<A, B>());
  v128.store(down, multiplyAdd(i1, c1, f32x4.mul(r1, s1)), bytes<A, B>());
  const r2 = f32x4.sub(t0r, t2r), i2 = f32x4.sub(t0i, t2i), c2 = v128.load32_splat(w, 8), s2 = v128.load32_splat(w, 12);
  v128.store(up, subtractProduct(i2, s2, f32x4.mul(r2, c2)), 2 * bytes<A, B>());
  v128.store(down, multiplyAdd(i2, c2, f32x4.mul(r2, s2)), 2 * bytes<A, B>());
  const r3 = f32x4.add(t1r, t3i), i3 = f32x4.sub(t1i, t3r), c3 = v128.load32_splat(w, 16), s3 = v128.load32_splat(w, 20);
  v128.store(up, subtractProduct(i3, s3, f32x4.mul(r3, c3)), 3 * bytes<A, B>());
  v128.store(down, multiplyAdd(i3, c3, f32x4.mul(r3, s3)), 3 * bytes<A, B>());
}

/** Half-complex blocks of 8 to samples, each at its place. */
export function undoBlocks8(n: i32, orderPtr: usize, workPtr: usize, lanesPtr: usize): void {
  const quarters = n > 8 ? 4 : 1, quarterBytes = <usize>n << 2, e = <usize>n << 1;
  const end = workPtr + (<usize>blocksPerQuarter(n) << 7);
  for (let at = workPtr, t = orderPtr; at < end; at += 128, t += 4) {
    let p = lanesPtr + (<usize>load<u32>(t) << 4), o = at;
    for (const last = p + (<usize>quarters << 4); p < last; p += 16, o += quarterBytes) undoBlock8(o, p, p + 4 * e, e);
  }
}

// @ts-ignore: decorator
@inline
function undoBlock8(o: usize, p: usize, q: usize, e: usize): void {
  const root = f32x4.splat(ROOT);
  const y0 = v128.load(o), y4 = v128.load(o, 64), y2 = v128.load(o, 32), i2 = v128.load(o, 96);
  const even = f32x4.add(y0, y4), odd = f32x4.sub(y0, y4), re = f32x4.add(y2, y2), im = f32x4.add(i2, i2);
  const e0 = f32x4.add(even, re), e2 = f32x4.sub(even, re), o0 = f32x4.sub(odd, im), o2 = f32x4.add(odd, im);
  const y1 = v128.load(o, 16), y3 = v128.load(o, 48), i3 = v128.load(o, 80), i1 = v128.load(o, 112);
  const s = f32x4.add(y1, y3), g = f32x4.sub(y1, y3), u = f32x4.sub(i3, i1), f = f32x4.add(i1, i3);
  const e1 = f32x4.add(s, s), e3 = f32x4.add(u, u), o1 = f32x4.mul(root, f32x4.sub(g, f)), o3 = f32x4.mul(root, f32x4.add(g, f));
  v128.store(p, f32x4.add(e0, e1));
  v128.store(q, f32x4.sub(e0, e1));
  v128.store(p + 2 * e, f32x4.add(e2, e3));
  v128.store(q + 2 * e, f32x4.sub(e2, e3));
  v128.store(p + e, f32x4.add(o0, o1));
  v128.store(q + e, f32x4.sub(o0, o1));
  // The third is stored negated.
  v128.store(p + 3 * e, f32x4.sub(o2, o3));
  v128.store(q + 3 * e, f32x4.add(o2, o3));
}

/** Blocks of 16, of which the radix-4 stage of span 4 is undone already: a quarter of each block at a time, so that few cache lines are open. */
export function undoBlocks16(n: i32, orderPtr: usize, workPtr: usize, lanesPtr: usize): void {
  const quarters = n > 16 ? 4 : 1, quarterBytes = <usize>n << 2, e = <usize>n;
  const end = workPtr + (<usize>blocksPerQuarter(n) << 8);
  for (let at = workPtr, t = orderPtr; at < end; at += 256, t += 4) {
    const to = lanesPtr + (<usize>load<u32>(t) << 4);
    for (let part: usize = 0; part < 4; part++) {
      let p = to + part * e, o = at + (part << 6);
      for (const last = p + (<usize>quarters << 4); p < last; p += 16, o += quarterBytes) undoQuarter(o, p, e);
    }
  }
}

/** Four samples 4 e apart. */
// @ts-ignore: decorator
@inline
function undoQuarter(o: usize, p: usize, e: usize): void {
  const y0 = v128.load(o), r = v128.load(o, 16), y2 = v128.load(o, 32), i = v128.load(o, 48);
  const s = f32x4.add(y0, y2), t = f32x4.sub(y0, y2), re = f32x4.add(r, r), im = f32x4.add(i, i);
  v128.store(p, f32x4.add(s, re));
  v128.store(p + 4 * e, f32x4.sub(t, im));
  v128.store(p + 8 * e, f32x4.sub(s, re));
  v128.store(p + 12 * e, f32x4.add(t, im));
}
