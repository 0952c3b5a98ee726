/**
 * Shape of a set of time-frequency bins of one track, in frequency and time, and how alike a spectrum is to itself under a shift.
 *
 * sumSetShape: with e_k = max(0, P_k - floor_bin), spectrum[bin] = sum of e over the set's frames, inTime[frame - startFrame] = sum over its bins.
 *   powerPtr    read    f32[frame][binCount] of the track
 *   floorPtr    read    f32[binCount]
 *   setPtr      read    u32[setCount], frame * binCount + bin, ascending, frames startFrame .. endFrame-1
 *   spectrumPtr written f64[binCount]; inTimePtr written f64[endFrame - startFrame]
 * correlateShifted: with a_b = sqrt(spectrum[b]) - mean of these over bins firstBin .. endBin-1, the largest over shifts d = firstShift ..
 *   lastShift of sum of a_b a_{b-d}, at least 0, over the sum of a_b^2; 0 where that is 0.
 *   spectrumPtr read    f64; scratchPtr written f64[endBin - firstBin]; lastShift < endBin - firstBin
 * Sums run in f64. Natural alignment; nothing may overlap. Source: definition. Plain reference: test/reference/set-shape.ts.
 */

export function sumSetShape(
  powerPtr: usize, binCount: i32, floorPtr: usize, setPtr: usize, setCount: i32, startFrame: i32, endFrame: i32, spectrumPtr: usize, inTimePtr: usize,
): void {
  memory.fill(spectrumPtr, 0, <usize>binCount << 3);
  memory.fill(inTimePtr, 0, <usize>(endFrame - startFrame) << 3);
  let row = startFrame * binCount;
  let sum: f64 = 0;
  let out = inTimePtr;
  const end = setPtr + (<usize>setCount << 2);
  for (let p = setPtr; p < end; p += 4) {
    const k = load<i32>(p);
    while (k >= row + binCount) {
      store<f64>(out, sum);
      sum = 0;
      out += 8;
      row += binCount;
    }
    const bin = <usize>(k - row);
    const e = max<f64>(0, <f64>load<f32>(powerPtr + (<usize>k << 2)) - <f64>load<f32>(floorPtr + (bin << 2)));
    const at = spectrumPtr + (bin << 3);
    store<f64>(at, load<f64>(at) + e);
    sum += e;
  }
  if (setCount > 0) store<f64>(out, sum);
}

export function correlateShifted(spectrumPtr: usize, firstBin: i32, endBin: i32, firstShift: i32, lastShift: i32, scratchPtr: usize): f64 {
  const width = endBin - firstBin;
  const source = spectrumPtr + (<usize>firstBin << 3);
  const end = scratchPtr + (<usize>width << 3);
  let mean: f64 = 0;
  for (let i: usize = 0; i < <usize>width << 3; i += 8) {
    const a = sqrt<f64>(load<f64>(source + i));
    store<f64>(scratchPtr + i, a);
    mean += a / <f64>width;
  }
  let square: f64 = 0;
  for (let p = scratchPtr; p < end; p += 8) {
    const a = load<f64>(p) - mean;
    store<f64>(p, a);
    square += a * a;
  }
  if (!(square > 0)) return 0;
  let best: f64 = 0;
  for (let d = firstShift; d <= lastShift; d++) {
    const back = <usize>d << 3;
    let s = f64x2.splat(0), t = s;
    let p = scratchPtr + back;
    for (; p + 32 <= end; p += 32) {
      s = f64x2.add(s, f64x2.mul(v128.load(p), v128.load(p - back)));
      t = f64x2.add(t, f64x2.mul(v128.load(p, 16), v128.load(p - back, 16)));
    }
    s = f64x2.add(s, t);
    let sum = f64x2.extract_lane(s, 0) + f64x2.extract_lane(s, 1);
    for (; p < end; p += 8) sum += load<f64>(p) * load<f64>(p - back);
    best = max(best, sum);
  }
  return best / square;
}
