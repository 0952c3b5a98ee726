/**
 * Energy above the band's lower edge in short steps, of all tracks at once: what edges of calls are read from.
 *
 * Formula: y[i] = b (x[i] - 2 x[i-1] + x[i-2]) - a1 y[i-1] - a2 y[i-2] from frame -warmFrames on, all before it 0;
 * energy[s] = sum of y^2 over frames s stepFrames .. (s + 1) stepFrames - 1, s = 0 .. stepCount-1, f32.
 *   lanesPtr  read    [groupCount] rows of v128, groupBytes apart, 16-aligned: frame 0; warmFrames frames lie before it
 *   filterPtr read    f32[3] b a1 a2
 *   energyPtr written [stepCount][groupCount] v128
 * Two groups run in one loop so that one's latency hides the other's. After each step, state below 1e-15 or not finite becomes 0: silence
 * after sound costs no more than sound, and a NaN ends with its step. Nothing may overlap.
 * Source: transposed direct form II, Oppenheim & Schafer 6.4. Plain reference: test/reference/survey.ts.
 */
import { cleanVector } from './inline/clean-state';
import { multiplyAdd, subtractProduct } from './inline/multiply-add';

export function stepEnergies(
  lanesPtr: usize, groupBytes: usize, groupCount: i32, warmFrames: i32, stepCount: i32, stepFrames: i32, filterPtr: usize, energyPtr: usize,
): void {
  const rowBytes = <usize>groupCount << 4;
  for (let g = 0; g < groupCount; g += 2) {
    const a = lanesPtr + <usize>g * groupBytes;
    const isPair = g + 1 < groupCount;
    // A group without a partner is taken twice.
    filterPair(a, isPair ? groupBytes : 0, warmFrames, stepCount, stepFrames, filterPtr, energyPtr + (<usize>g << 4), isPair, rowBytes);
  }
}

function filterPair(
  lanesPtr: usize, shift: usize, warmFrames: i32, stepCount: i32, stepFrames: i32, filterPtr: usize, energyPtr: usize, isPair: bool, rowBytes: usize,
): void {
  const b = v128.load_splat<f32>(filterPtr), a1 = v128.load_splat<f32>(filterPtr, 4), a2 = v128.load_splat<f32>(filterPtr, 8);
  let p1 = f32x4.splat(0), p2 = p1, r1 = p1, r2 = p1;
  let p = lanesPtr - (<usize>warmFrames << 4), out = energyPtr;
  let end = lanesPtr;
  for (let s = -1; s < stepCount; s++) {
    let sumA = f32x4.splat(0), sumB = sumA;
    for (; p < end; p += 16) {
      const u = f32x4.mul(b, v128.load(p)), v = f32x4.mul(b, v128.load(p + shift));
      const y = f32x4.add(u, p1), z = f32x4.add(v, r1);
      p1 = subtractProduct(a1, y, f32x4.sub(p2, f32x4.add(u, u)));
      p2 = subtractProduct(a2, y, u);
      r1 = subtractProduct(a1, z, f32x4.sub(r2, f32x4.add(v, v)));
      r2 = subtractProduct(a2, z, v);
      sumA = multiplyAdd(y, y, sumA);
      sumB = multiplyAdd(z, z, sumB);
    }
    p1 = cleanVector(p1); p2 = cleanVector(p2); r1 = cleanVector(r1); r2 = cleanVector(r2);
    end += <usize>stepFrames << 4;
    // The first round only warms the filter up.
    if (s < 0) continue;
    v128.store(out, sumA);
    if (isPair) v128.store(out, sumB, 16);
    out += rowBytes;
  }
}
