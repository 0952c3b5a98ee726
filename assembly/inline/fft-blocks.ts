/**
 * First stage of the real transform and last of its inverse: transforms of 8 or 16 real points in registers, four lanes at once.
 *
 * A transform of size N is kept in N vectors (half-complex order): real part of bin j at j, imaginary part at N - j, j = 0 .. N/2.
 * Samples s + r, s + r + n/N, s + r + 2 n/N, ... make block q of quarter r, s = u32 at orderPtr + 4 q: the four quarters share cache lines.
 * Called by fft.ts only; tables as in fft-table.ts.
 * Forward without scaling; the inverse gives N times the samples. Source: Sorensen, Jones, Heideman & Burrus 1987, IEEE TASSP 35(6) 849-863.
 * Plain reference: test/reference/dft.ts.
 */

import { blocksPerQuarter } from '../fft-table';
import { multiplyAdd, subtractProduct } from './multiply-add';

const HALF_ROOT: f32 = 0.7071067811865476;
/** cos and sin of a sixteenth of a turn. */
const COS_16TH: f32 = 0.9238795325112867;
const SIN_16TH: f32 = 0.3826834323650898;

/** Blocks of 8. */
export function runBlocks8(n: i32, orderPtr: usize, sourcePtr: usize, workPtr: usize): void {
  const quarters = n > 8 ? 4 : 1, quarterBytes = <usize>n << 2, e = <usize>n << 1;
  const end = workPtr + (<usize>blocksPerQuarter(n) << 7);
  for (let at = workPtr, t = orderPtr; at < end; at += 128, t += 4) {
    let p = sourcePtr + (<usize>load<u32>(t) << 4), o = at;
    for (const last = p + (<usize>quarters << 4); p < last; p += 16, o += quarterBytes) writeBlock8(p, e, o);
  }
}

// @ts-ignore: decorator
@inline
function writeBlock8(p: usize, e: usize, o: usize): void {
  const h = f32x4.splat(HALF_ROOT);
  const x1 = v128.load(p + e), x5 = v128.load(p + 5 * e), x3 = v128.load(p + 3 * e), x7 = v128.load(p + 7 * e);
  const o0 = f32x4.add(x1, x5), o1 = f32x4.sub(x1, x5), o2 = f32x4.add(x3, x7), o3 = f32x4.sub(x3, x7);
  const u = f32x4.mul(h, f32x4.sub(o1, o3)), v = f32x4.mul(h, f32x4.add(o1, o3));
  const x0 = v128.load(p), x4 = v128.load(p + 4 * e), x2 = v128.load(p + 2 * e), x6 = v128.load(p + 6 * e);
  const e0 = f32x4.add(x0, x4), e1 = f32x4.sub(x0, x4), e2 = f32x4.add(x2, x6), e3 = f32x4.sub(x2, x6);
  const even = f32x4.add(e0, e2), odd = f32x4.add(o0, o2);
  v128.store(o, f32x4.add(even, odd));
  v128.store(o, f32x4.add(e1, u), 16);
  v128.store(o, f32x4.sub(e0, e2), 32);
  v128.store(o, f32x4.sub(e1, u), 48);
  v128.store(o, f32x4.sub(even, odd), 64);
  v128.store(o, f32x4.sub(e3, v), 80);
  v128.store(o, f32x4.sub(o2, o0), 96);
  v128.store(o, f32x4.neg(f32x4.add(e3, v)), 112);
}

/** Blocks of 16. The samples are read twice, for odd bins and for even ones: sixteen values and their sums do not fit the registers. */
export function runBlocks16(n: i32, orderPtr: usize, sourcePtr: usize, workPtr: usize): void {
  const quarters = n > 16 ? 4 : 1, quarterBytes = <usize>n << 2, e = <usize>n;
  const end = workPtr + (<usize>blocksPerQuarter(n) << 8);
  for (let at = workPtr, t = orderPtr; at < end; at += 256, t += 4) {
    let p = sourcePtr + (<usize>load<u32>(t) << 4), o = at;
    for (const last = p + (<usize>quarters << 4); p < last; p += 16, o += quarterBytes) {
      writeOddBins(p, e, o);
      writeEvenBins(p, e, o);
    }
  }
}

/** Bins 1, 3, 5, 7: the first bins of the four quarters (samples 4 apart), turned by r sixteenths. */
// @ts-ignore: decorator
@inline
function writeOddBins(p: usize, e: usize, o: usize): void {
  const c1 = f32x4.splat(COS_16TH), s1 = f32x4.splat(SIN_16TH), h = f32x4.splat(HALF_ROOT);
  const br0 = f32x4.sub(v128.load(p + e), v128.load(p + 9 * e)), bi0 = f32x4.sub(v128.load(p + 13 * e), v128.load(p + 5 * e));
  const dr0 = f32x4.sub(v128.load(p + 3 * e), v128.load(p + 11 * e)), di0 = f32x4.sub(v128.load(p + 15 * e), v128.load(p + 7 * e));
  const br = multiplyAdd(br0, c1, f32x4.mul(bi0, s1)), bi = subtractProduct(br0, s1, f32x4.mul(bi0, c1));
  const dr = multiplyAdd(dr0, s1, f32x4.mul(di0, c1)), di = subtractProduct(dr0, c1, f32x4.mul(di0, s1));
  const t2r = f32x4.add(br, dr), t2i = f32x4.add(bi, di), t3i = f32x4.sub(bi, di), t3n = f32x4.sub(dr, br);
  const cr0 = f32x4.sub(v128.load(p + 2 * e), v128.load(p + 10 * e)), ci0 = f32x4.sub(v128.load(p + 14 * e), v128.load(p + 6 * e));
  const cr = f32x4.mul(h, f32x4.add(cr0, ci0)), ci = f32x4.mul(h, f32x4.sub(ci0, cr0));
  const ar = f32x4.sub(v128.load(p), v128.load(p + 8 * e)), ai = f32x4.sub(v128.load(p + 12 * e), v128.load(p + 4 * e));
  const t0r = f32x4.add(ar, cr), t0i = f32x4.add(ai, ci), t1r = f32x4.sub(ar, cr), t1i = f32x4.sub(ai, ci);
  v128.store(o, f32x4.add(t0r, t2r), 16);
  v128.store(o, f32x4.sub(t1r, t3i), 48);
  v128.store(o, f32x4.add(t1r, t3i), 80);
  v128.store(o, f32x4.sub(t0r, t2r), 112);
  v128.store(o, f32x4.sub(t2i, t0i), 144);
  v128.store(o, f32x4.add(t1i, t3n), 176);
  v128.store(o, f32x4.sub(t3n, t1i), 208);
  v128.store(o, f32x4.add(t0i, t2i), 240);
}

/** Bins 0, 2, 4, 6, 8. */
// @ts-ignore: decorator
@inline
function writeEvenBins(p: usize, e: usize, o: usize): void {
  const h = f32x4.splat(HALF_ROOT);
  const bs = f32x4.add(v128.load(p + e), v128.load(p + 9 * e)), bt = f32x4.add(v128.load(p + 5 * e), v128.load(p + 13 * e));
  const ds = f32x4.add(v128.load(p + 3 * e), v128.load(p + 11 * e)), dt = f32x4.add(v128.load(p + 7 * e), v128.load(p + 15 * e));
  const b0 = f32x4.add(bs, bt), b2 = f32x4.sub(bs, bt), d0 = f32x4.add(ds, dt), d2 = f32x4.sub(ds, dt);
  const as = f32x4.add(v128.load(p), v128.load(p + 8 * e)), at = f32x4.add(v128.load(p + 4 * e), v128.load(p + 12 * e));
  const cs = f32x4.add(v128.load(p + 2 * e), v128.load(p + 10 * e)), ct = f32x4.add(v128.load(p + 6 * e), v128.load(p + 14 * e));
  const a0 = f32x4.add(as, at), a2 = f32x4.sub(as, at), c0 = f32x4.add(cs, ct), c2 = f32x4.sub(cs, ct);
  const t = f32x4.add(a0, c0), u = f32x4.add(b0, d0);
  v128.store(o, f32x4.add(t, u));
  v128.store(o, f32x4.sub(a0, c0), 64);
  v128.store(o, f32x4.sub(t, u), 128);
  v128.store(o, f32x4.sub(d0, b0), 192);
  const v = f32x4.mul(h, f32x4.sub(b2, d2)), w = f32x4.mul(h, f32x4.add(b2, d2));
  v128.store(o, f32x4.add(a2, v), 32);
  v128.store(o, f32x4.sub(a2, v), 96);
  v128.store(o, f32x4.sub(c2, w), 160);
  v128.store(o, f32x4.neg(f32x4.add(c2, w)), 224);
}
