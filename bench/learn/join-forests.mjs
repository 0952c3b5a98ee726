// Forests that ask for the same features as one: their log-odds in the mean.

/** @returns a forest with the trees of all, each at its share, rounded as the model file keeps values (pack-forest.ts); without calibration */
export function joinForests(forests) {
  const [{ features }] = forests, share = 1 / forests.length;
  if (forests.some((f) => f.features.join() !== features.join())) throw new Error('forests with other features cannot be joined');
  const size = forests.reduce((sum, f) => sum + f.numbers.length, 0), links = new Int32Array(2 * size), numbers = new Float64Array(size), roots = [];
  let from = 0;
  for (const forest of forests) {
    for (const root of forest.roots) roots.push(root + from);
    forest.numbers.forEach((number, n) => {
      const isLeaf = forest.links[2 * n] < 0;
      links[2 * (from + n)] = forest.links[2 * n];
      links[2 * (from + n) + 1] = forest.links[2 * n + 1] + from;
      numbers[from + n] = isLeaf ? Math.round(number * share * 16384) / 16384 : number;
    });
    from += forest.numbers.length;
  }
  return { features: [...features], bias: share * forests.reduce((sum, f) => sum + f.bias, 0), roots: Int32Array.from(roots), links, numbers, calibration: { from: [], to: [] } };
}
