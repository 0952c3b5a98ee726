/** Plain references in f64: samples from bytes, the band filter's energy per hop, powers of a windowed frame. */

/** Value of one little-endian sample. */
export function referenceSample(bytes: Uint8Array, at: number, coding: 'u8' | 's16' | 's24' | 's32' | 'f32'): number {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  if (coding === 'u8') return (view.getUint8(at) - 128) / 128;
  if (coding === 's16') return view.getInt16(at, true) / 32768;
  if (coding === 's24') return (view.getUint16(at, true) + 65536 * view.getInt8(at + 2)) / 8388608;
  if (coding === 's32') return view.getInt32(at, true) / 2147483648;
  const v = view.getFloat32(at, true);
  return Number.isFinite(v) && Math.abs(v) >= 1e-30 ? v : 0;
}

/** Integer of a sample: halves up, clipped, NaN 0. */
export function referenceCode(sample: number, bits: 16 | 24): number {
  const fullScale = 2 ** (bits - 1), code = Math.floor(sample * fullScale + 0.5);
  if (Number.isNaN(code)) return 0;
  return Math.min(fullScale - 1, Math.max(-fullScale, code));
}

/** Mean square per hop of x after a high-pass and a low-pass of second order, filter = b a1 a2 of each. */
export function referenceBandHops(x: ArrayLike<number>, filter: ArrayLike<number>, hop: number): Float64Array {
  let input = Float64Array.from(x);
  for (const [at, sign] of [[0, -2], [3, 2]]) {
    const y = new Float64Array(input.length);
    for (let i = 0; i < y.length; i++) {
      y[i] = filter[at] * (input[i] + sign * (input[i - 1] ?? 0) + (input[i - 2] ?? 0)) - filter[at + 1] * (y[i - 1] ?? 0) - filter[at + 2] * (y[i - 2] ?? 0);
    }
    input = y;
  }
  return Float64Array.from({ length: Math.floor(x.length / hop) }, (_, h) => input.subarray(h * hop, (h + 1) * hop).reduce((s, v) => s + v * v, 0) / hop);
}

/** Sum of y^2 per step, y = b (x - 2 x1 + x2) - a1 y1 - a2 y2 from frame -warm of the first step on; x is 0 outside its frames. */
export function referenceStepEnergies(x: ArrayLike<number>, b: number, a1: number, a2: number, startFrame: number, warm: number, stepCount: number, stepFrames: number): Float64Array {
  const out = new Float64Array(stepCount);
  const at = (i: number): number => (i >= startFrame - warm ? x[i] ?? 0 : 0);
  let y1 = 0; let y2 = 0;
  for (let i = startFrame - warm; i < startFrame + stepCount * stepFrames; i++) {
    const y = b * (at(i) - 2 * at(i - 1) + at(i - 2)) - a1 * y1 - a2 * y2;
    y2 = y1; y1 = y;
    if (i >= startFrame) out[Math.floor((i - startFrame) / stepFrames)] += y * y;
  }
  return out;
}
