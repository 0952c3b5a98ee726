/**
 * Selection in place: the k-th smallest of count f32 (k from 0); smaller values end before it, larger ones behind. No NaN.
 *   ptr read, written f32[count], 4-aligned. Source: Hoare 1961, algorithm 65. Plain reference: a sort.
 */

// @ts-ignore: decorator
@inline
function at(ptr: usize, i: i32): f32 {
  return load<f32>(ptr + (<usize>i << 2));
}

export function selectValue(ptr: usize, count: i32, k: i32): f32 {
  let low = 0;
  let high = count - 1;
  while (low < high) {
    const pivot = at(ptr, (low + high) >> 1);
    let i = low;
    let j = high;
    while (i <= j) {
      while (at(ptr, i) < pivot) i++;
      while (at(ptr, j) > pivot) j--;
      if (i > j) break;
      const v = at(ptr, i);
      store<f32>(ptr + (<usize>i << 2), at(ptr, j));
      store<f32>(ptr + (<usize>j << 2), v);
      i++;
      j--;
    }
    if (k <= j) high = j;
    else if (k >= i) low = i;
    else break;
  }
  return at(ptr, k);
}
