/**
 * What each track owns of one frame: sum of P_j - floor_j over its bins in firstBin .. endBin-1, in f64 in the order of bins.
 *   rowPtr   read    f32[binCount] of the frame, trackBytes from track to track; floorPtr the same, rowBytes apart
 *   owners   read    u8[binCount], 255 = nobody
 *   sumsPtr  written f64[trackCount]
 *   ownedPtr written f32 of each track, `apart` bytes apart
 * Called by ownership.ts. Source: definition. Plain reference: test/reference/ownership.ts.
 */

const NOBODY: usize = 255;

export function sumOwned(
  rowPtr: usize, trackBytes: usize, rowBytes: usize, trackCount: i32, floorPtr: usize, firstBin: i32, endBin: i32, owners: usize, sumsPtr: usize, ownedPtr: usize, apart: usize,
): void {
  for (let j: usize = 0; j < <usize>trackCount; j++) store<f64>(sumsPtr + (j << 3), 0);
  let current = NOBODY, power: usize = 0, floor: usize = 0;
  let sum: f64 = 0;
  for (let b = firstBin; b < endBin; ) {
    // Most bins are nobody's.
    const count = min(4, endBin - b);
    if (count == 4 && load<i32>(owners + <usize>b) == -1) {
      b += 4;
      continue;
    }
    for (const end = b + count; b < end; b++) {
      const j = <usize>load<u8>(owners + <usize>b);
      if (j == NOBODY) continue;
      // Neighbours mostly have one owner, whose sum stays at hand.
      if (j != current) {
        if (current != NOBODY) store<f64>(sumsPtr + (current << 3), sum);
        current = j;
        sum = load<f64>(sumsPtr + (j << 3));
        power = rowPtr + j * trackBytes;
        floor = floorPtr + j * rowBytes;
      }
      const at = <usize>b << 2;
      sum += <f64>load<f32>(power + at) - <f64>load<f32>(floor + at);
    }
  }
  if (current != NOBODY) store<f64>(sumsPtr + (current << 3), sum);
  for (let j: usize = 0, o = ownedPtr; j < <usize>trackCount; j++, o += apart) store<f32>(o, <f32>load<f64>(sumsPtr + (j << 3)));
}
