/**
 * Energy of the call band per hop, of all tracks at once: the fast first look at a recording.
 *
 * Formula: y = low-pass(high-pass(x)), both of second order: u = b (x -+ 2 x1 + x2) - a1 u1 - a2 u2 (- for the high-pass, + for the low-pass);
 * energy[h] = mean of y^2 over the hop's frames, f32.
 *   lanesPtr   read          [groupCount] rows of hopCount * hopFrames v128, groupBytes apart, 16-aligned: one vector of four tracks per frame
 *   filterPtr  read          f32[6] b a1 a2 of the high-pass, then of the low-pass
 *   statePtr   read, written [groupCount rounded up to even][4] v128; zeros at the start, then carried from call to call
 *   energyPtr  written       [hopCount][groupCount] v128
 * hopFrames is a multiple of 4. Two groups run in one loop so that one's latency hides the other's. After each hop, state below 1e-15 or not
 * finite becomes 0: silence after sound costs no more than sound. Nothing may overlap.
 * Source: transposed direct form II, Oppenheim & Schafer 6.4. Plain reference: test/reference/survey.ts.
 */
import { cleanState } from './inline/clean-state';
import { multiplyAdd, subtractProduct } from './inline/multiply-add';

export function bandHops(
  lanesPtr: usize, groupBytes: usize, groupCount: i32, hopCount: i32, hopFrames: i32, filterPtr: usize, statePtr: usize, energyPtr: usize,
): void {
  const hopBytes = <usize>hopFrames << 4;
  const rowBytes = <usize>groupCount << 4;
  for (let h = 0; h < hopCount; h++) {
    const at = lanesPtr + <usize>h * hopBytes, out = energyPtr + <usize>h * rowBytes;
    for (let g = 0; g < groupCount; g += 2) {
      const a = at + <usize>g * groupBytes, state = statePtr + (<usize>g << 6);
      const isPair = g + 1 < groupCount;
      // A group without a partner is taken twice.
      runPair(a, isPair ? a + groupBytes : a, hopBytes, filterPtr, state, out + (<usize>g << 4), isPair);
      cleanState(state, 8);
    }
  }
}

function runPair(aPtr: usize, bPtr: usize, bytes: usize, filterPtr: usize, statePtr: usize, energyPtr: usize, isPair: bool): void {
  const hb = v128.load_splat<f32>(filterPtr), h1 = v128.load_splat<f32>(filterPtr, 4), h2 = v128.load_splat<f32>(filterPtr, 8);
  const lb = v128.load_splat<f32>(filterPtr, 12), l1 = v128.load_splat<f32>(filterPtr, 16), l2 = v128.load_splat<f32>(filterPtr, 20);
  let p1 = v128.load(statePtr), p2 = v128.load(statePtr, 16), q1 = v128.load(statePtr, 32), q2 = v128.load(statePtr, 48);
  let r1 = v128.load(statePtr, 64), r2 = v128.load(statePtr, 80), s1 = v128.load(statePtr, 96), s2 = v128.load(statePtr, 112);
  let sumA = f32x4.splat(0), sumB = sumA;
  const shift = bPtr - aPtr;
  const end = aPtr + bytes;
  for (let p = aPtr; p < end; p += 16) {
    const u = f32x4.mul(hb, v128.load(p)), v = f32x4.mul(hb, v128.load(p + shift));
    const y = f32x4.add(u, p1), z = f32x4.add(v, r1);
    p1 = subtractProduct(h1, y, f32x4.sub(p2, f32x4.add(u, u)));
    p2 = subtractProduct(h2, y, u);
    r1 = subtractProduct(h1, z, f32x4.sub(r2, f32x4.add(v, v)));
    r2 = subtractProduct(h2, z, v);
    const a = f32x4.mul(lb, y), b = f32x4.mul(lb, z);
    const c = f32x4.add(a, q1), d = f32x4.add(b, s1);
    q1 = subtractProduct(l1, c, f32x4.add(q2, f32x4.add(a, a)));
    q2 = subtractProduct(l2, c, a);
    s1 = subtractProduct(l1, d, f32x4.add(s2, f32x4.add(b, b)));
    s2 = subtractProduct(l2, d, b);
    sumA = multiplyAdd(c, c, sumA);
    sumB = multiplyAdd(d, d, sumB);
  }
  v128.store(statePtr, p1); v128.store(statePtr, p2, 16); v128.store(statePtr, q1, 32); v128.store(statePtr, q2, 48);
  v128.store(statePtr, r1, 64); v128.store(statePtr, r2, 80); v128.store(statePtr, s1, 96); v128.store(statePtr, s2, 112);
  const scale = f32x4.splat(<f32>(16.0 / <f64>bytes));
  v128.store(energyPtr, f32x4.mul(scale, sumA));
  if (isPair) v128.store(energyPtr, f32x4.mul(scale, sumB), 16);
}
