/**
 * Stages of the lane-batched complex transform, exp(-i 2 pi k p / m), no scaling. A point is [re x 4][im x 4], 32 bytes; the four
 * lanes never mix, so a NaN stays in its lane. Called by fft.ts only; tables as in fft-table.ts.
 * Source: Cooley & Tukey 1965 (decimation in time). Plain reference: test/reference/dft.ts.
 */
import { POINT_BYTES } from '../abi';

/** First stage, radix 4 without twiddles, for even log2(m): reads m points at sourcePtr in digit-reversed order, writes m points in place order. */
export function runFirstStage4(m: i32, orderPtr: usize, sourcePtr: usize, workPtr: usize): void {
  const q = (<usize>m >> 2) * POINT_BYTES;
  let o = workPtr;
  const end = orderPtr + (<usize>(m >> 2) << 2);
  for (let t = orderPtr; t < end; t += 4) {
    const a = sourcePtr + <usize>load<u32>(t) * POINT_BYTES;
    const b = a + q, c = b + q, d = c + q;
    const ar = v128.load(a), ai = v128.load(a, 16), cr = v128.load(c), ci = v128.load(c, 16);
    const t0r = f32x4.add(ar, cr), t0i = f32x4.add(ai, ci), t1r = f32x4.sub(ar, cr), t1i = f32x4.sub(ai, ci);
    const br = v128.load(b), bi = v128.load(b, 16), dr = v128.load(d), di = v128.load(d, 16);
    const t2r = f32x4.add(br, dr), t2i = f32x4.add(bi, di), t3r = f32x4.sub(br, dr), t3i = f32x4.sub(bi, di);
    v128.store(o, f32x4.add(t0r, t2r));
    v128.store(o, f32x4.add(t0i, t2i), 16);
    v128.store(o, f32x4.add(t1r, t3i), 32);
    v128.store(o, f32x4.sub(t1i, t3r), 48);
    v128.store(o, f32x4.sub(t0r, t2r), 64);
    v128.store(o, f32x4.sub(t0i, t2i), 80);
    v128.store(o, f32x4.sub(t1r, t3i), 96);
    v128.store(o, f32x4.add(t1i, t3r), 112);
    o += 128;
  }
}

/**
 * First stage, radix 8, for odd log2(m): two sub-transforms of 4 (sources 0, 2, 4, 6 and 1, 3, 5, 7 eighths apart), then the radix-2 step
 * with the turns exp(-i pi j / 4), without going through memory.
 */
export function runFirstStage8(m: i32, orderPtr: usize, sourcePtr: usize, workPtr: usize): void {
  const e = (<usize>m >> 3) * POINT_BYTES;
  const h = f32x4.splat(<f32>0.7071067811865476);
  let o = workPtr;
  const end = orderPtr + (<usize>(m >> 3) << 2);
  for (let t = orderPtr; t < end; t += 4) {
    const p = sourcePtr + <usize>load<u32>(t) * POINT_BYTES;
    const x1 = p + e, x3 = x1 + 2 * e, x5 = x3 + 2 * e, x7 = x5 + 2 * e;
    let ar = v128.load(x1), ai = v128.load(x1, 16), cr = v128.load(x5), ci = v128.load(x5, 16);
    let br = v128.load(x3), bi = v128.load(x3, 16), dr = v128.load(x7), di = v128.load(x7, 16);
    let sr = f32x4.add(ar, cr), si = f32x4.add(ai, ci), ur = f32x4.sub(ar, cr), ui = f32x4.sub(ai, ci);
    let vr = f32x4.add(br, dr), vi = f32x4.add(bi, di), wr = f32x4.sub(br, dr), wi = f32x4.sub(bi, di);
    const y0r = f32x4.add(sr, vr), y0i = f32x4.add(si, vi);
    // Turned by -i: (im, -re).
    const y2r = f32x4.sub(si, vi), y2i = f32x4.sub(vr, sr);
    const z1r = f32x4.add(ur, wi), z1i = f32x4.sub(ui, wr), z3r = f32x4.sub(ur, wi), z3i = f32x4.add(ui, wr);
    const y1r = f32x4.mul(h, f32x4.add(z1r, z1i)), y1i = f32x4.mul(h, f32x4.sub(z1i, z1r));
    // The third turn is stored negated.
    const y3r = f32x4.mul(h, f32x4.sub(z3r, z3i)), y3i = f32x4.mul(h, f32x4.add(z3r, z3i));
    const x2 = p + 2 * e, x4 = x2 + 2 * e, x6 = x4 + 2 * e;
    ar = v128.load(p), ai = v128.load(p, 16), cr = v128.load(x4), ci = v128.load(x4, 16);
    br = v128.load(x2), bi = v128.load(x2, 16), dr = v128.load(x6), di = v128.load(x6, 16);
    sr = f32x4.add(ar, cr), si = f32x4.add(ai, ci), ur = f32x4.sub(ar, cr), ui = f32x4.sub(ai, ci);
    vr = f32x4.add(br, dr), vi = f32x4.add(bi, di), wr = f32x4.sub(br, dr), wi = f32x4.sub(bi, di);
    storePair(o, f32x4.add(sr, vr), f32x4.add(si, vi), y0r, y0i);
    storePair(o + 64, f32x4.sub(sr, vr), f32x4.sub(si, vi), y2r, y2i);
    storePair(o + 32, f32x4.add(ur, wi), f32x4.sub(ui, wr), y1r, y1i);
    // Minus the stored third turn: sum and difference change places.
    const gr = f32x4.sub(ur, wi), gi = f32x4.add(ui, wr);
    v128.store(o, f32x4.sub(gr, y3r), 96);
    v128.store(o, f32x4.sub(gi, y3i), 112);
    v128.store(o, f32x4.add(gr, y3r), 224);
    v128.store(o, f32x4.add(gi, y3i), 240);
    o += 256;
  }
}

// @ts-ignore: decorator
@inline
function storePair(o: usize, ar: v128, ai: v128, br: v128, bi: v128): void {
  v128.store(o, f32x4.add(ar, br));
  v128.store(o, f32x4.add(ai, bi), 16);
  v128.store(o, f32x4.sub(ar, br), 128);
  v128.store(o, f32x4.sub(ai, bi), 144);
}

/** Radix-4 stage: sub-transforms of `span` points become sub-transforms of 4 * span, in place; 24 bytes of twiddles per k. */
export function runRadix4Stage(m: i32, span: i32, twiddlePtr: usize, workPtr: usize): void {
  const step = <usize>span * POINT_BYTES;
  const end = workPtr + <usize>m * POINT_BYTES;
  for (let block = workPtr; block < end; block += step << 2) {
    let w = twiddlePtr;
    const blockEnd = block + step;
    for (let a = block; a < blockEnd; a += POINT_BYTES) {
      const b = a + step, c = b + step, d = c + step;
      const c2 = v128.load_splat<f32>(w, 8), s2 = v128.load_splat<f32>(w, 12);
      const cr0 = v128.load(c), ci0 = v128.load(c, 16);
      const cr = f32x4.add(f32x4.mul(cr0, c2), f32x4.mul(ci0, s2)), ci = f32x4.sub(f32x4.mul(ci0, c2), f32x4.mul(cr0, s2));
      const ar = v128.load(a), ai = v128.load(a, 16);
      const t0r = f32x4.add(ar, cr), t0i = f32x4.add(ai, ci), t1r = f32x4.sub(ar, cr), t1i = f32x4.sub(ai, ci);
      const c1 = v128.load_splat<f32>(w), s1 = v128.load_splat<f32>(w, 4);
      const br0 = v128.load(b), bi0 = v128.load(b, 16);
      const br = f32x4.add(f32x4.mul(br0, c1), f32x4.mul(bi0, s1)), bi = f32x4.sub(f32x4.mul(bi0, c1), f32x4.mul(br0, s1));
      const c3 = v128.load_splat<f32>(w, 16), s3 = v128.load_splat<f32>(w, 20);
      const dr0 = v128.load(d), di0 = v128.load(d, 16);
      const dr = f32x4.add(f32x4.mul(dr0, c3), f32x4.mul(di0, s3)), di = f32x4.sub(f32x4.mul(di0, c3), f32x4.mul(dr0, s3));
      const t2r = f32x4.add(br, dr), t2i = f32x4.add(bi, di), t3r = f32x4.sub(br, dr), t3i = f32x4.sub(bi, di);
      v128.store(a, f32x4.add(t0r, t2r));
      v128.store(a, f32x4.add(t0i, t2i), 16);
      v128.store(b, f32x4.add(t1r, t3i));
      v128.store(b, f32x4.sub(t1i, t3r), 16);
      v128.store(c, f32x4.sub(t0r, t2r));
      v128.store(c, f32x4.sub(t0i, t2i), 16);
      v128.store(d, f32x4.sub(t1r, t3i));
      v128.store(d, f32x4.add(t1i, t3r), 16);
      w += 24;
    }
  }
}
