/**
 * All pairs of tracks by lane rotation: rotation r of groups (a, b) pairs lane l of a with lane (l + r) mod 4 of b.
 *
 * One group with itself needs r = 1 (all four pairs are new) and r = 2 (lanes 0 and 1 are new); two groups need r = 0 .. 3. G groups make
 * 2 G^2 rotations; numbering: 2 a + (r - 1) for one group, then 2 G + 4 p + r for the p-th pair of groups a < b, a slow.
 * Source: common practice. Plain reference: the pair loops of test/reference/correlation.ts.
 */

// @ts-ignore: decorator
@inline
export function countRotations(groups: i32): i32 {
  return 2 * groups * groups;
}

// @ts-ignore: decorator
@inline
export function rotateLanes(v: v128, r: i32): v128 {
  if (r == 1) return v128.shuffle<f32>(v, v, 1, 2, 3, 0);
  if (r == 2) return v128.shuffle<f32>(v, v, 2, 3, 0, 1);
  if (r == 3) return v128.shuffle<f32>(v, v, 3, 0, 1, 2);
  return v;
}

/** Group, partner group and shift of a rotation, packed as a | b << 8 | r << 16. */
export function describeRotation(index: i32, groups: i32): i32 {
  if (index < 2 * groups) return (index >> 1) | ((index >> 1) << 8) | (((index & 1) + 1) << 16);
  let p = (index - 2 * groups) >> 2;
  let a = 0;
  while (p >= groups - 1 - a) {
    p -= groups - 1 - a;
    a++;
  }
  return a | ((a + 1 + p) << 8) | (((index - 2 * groups) & 3) << 16);
}

/** The two tracks of a lane as i | j << 8 | swapped << 16 with i < j, or -1 where the lane repeats a pair or a track does not exist. */
export function pairOfLane(rotation: i32, lane: i32, trackCount: i32): i32 {
  const a = rotation & 0xff, b = (rotation >> 8) & 0xff, r = rotation >> 16;
  if (a == b && r == 2 && lane > 1) return -1;
  const first = 4 * a + lane, second = 4 * b + ((lane + r) & 3);
  if (first >= trackCount || second >= trackCount) return -1;
  return first < second ? first | (second << 8) : second | (first << 8) | (1 << 16);
}
