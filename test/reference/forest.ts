/** Plain reference of asking a forest: node by node, value against threshold, tree by tree. */
interface PlainForest { bias: number; roots: ArrayLike<number>; links: ArrayLike<number>; numbers: ArrayLike<number> }

export function scoreReference({ bias, roots, links, numbers }: PlainForest, rows: readonly (readonly number[])[]): number[] {
  return rows.map((x) => {
    let sum = bias;
    for (let t = 0; t < roots.length; t++) {
      let n = roots[t];
      while (links[2 * n] >= 0) n = links[2 * n + 1] + (x[links[2 * n]] < numbers[n] ? 0 : 1);
      sum += numbers[n];
    }
    return sum;
  });
}
