/**
 * Stages of the lane-batched complex transform, exp(-i 2 pi k p / m), no scaling. A point is [re x 4][im x 4], 32 bytes; the four
 * lanes never mix, so a NaN stays in its lane. Called by fft.ts only; tables as in fft-table.ts.
 * Source: Cooley & Tukey 1965 (decimation in time). Plain reference: test/reference/dft.ts.
 */
import { POINT_BYTES } from '../abi';

/** First stage, radix 4 without twiddles: reads m points at sourcePtr in digit-reversed order, writes m points in place order. */
export function runFirstStage(m: i32, orderPtr: usize, sourcePtr: usize, workPtr: usize): void {
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

/** Radix-2 stage of span 4 (sub-transforms of 4 become sub-transforms of 8), in place. */
export function runRadix2Stage(m: i32, workPtr: usize): void {
  const end = workPtr + <usize>m * POINT_BYTES;
  const h = f32x4.splat(<f32>0.7071067811865476);
  for (let a = workPtr; a < end; a += 8 * POINT_BYTES) {
    const x0r = v128.load(a, 128), x0i = v128.load(a, 144);
    storeSumAndDifference(a, x0r, x0i);
    // Multiply by exp(-i pi / 4): (re + im, im - re) / sqrt 2.
    const x1r = v128.load(a, 160), x1i = v128.load(a, 176);
    storeSumAndDifference(a + 32, f32x4.mul(f32x4.add(x1r, x1i), h), f32x4.mul(f32x4.sub(x1i, x1r), h));
    // Multiply by -i: (im, -re).
    const x2r = v128.load(a, 192), x2i = v128.load(a, 208);
    storeSumAndDifference(a + 64, x2i, f32x4.neg(x2r));
    // Multiply by exp(-i 3 pi / 4): (im - re, -re - im) / sqrt 2.
    const x3r = v128.load(a, 224), x3i = v128.load(a, 240);
    storeSumAndDifference(a + 96, f32x4.mul(f32x4.sub(x3i, x3r), h), f32x4.neg(f32x4.mul(f32x4.add(x3r, x3i), h)));
  }
}

// @ts-ignore: decorator
@inline
function storeSumAndDifference(a: usize, tr: v128, ti: v128): void {
  const ar = v128.load(a), ai = v128.load(a, 16);
  v128.store(a, f32x4.add(ar, tr));
  v128.store(a, f32x4.add(ai, ti), 16);
  v128.store(a, f32x4.sub(ar, tr), 128);
  v128.store(a, f32x4.sub(ai, ti), 144);
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
