// Two forests that ask for the same features as one: their log-odds in the mean.

/** @returns a forest with the trees of both, each at half its value, rounded as the model file keeps values (pack-forest.ts); without calibration */
export function joinForests(a, b) {
  if (a.features.join() !== b.features.join()) throw new Error('forests with other features cannot be joined');
  const count = a.numbers.length, links = new Int32Array(a.links.length + b.links.length), numbers = new Float64Array(count + b.numbers.length);
  links.set(a.links);
  for (let n = 0; n < b.numbers.length; n++) {
    links[2 * (count + n)] = b.links[2 * n];
    links[2 * (count + n) + 1] = b.links[2 * n + 1] + count;
  }
  for (let n = 0; n < numbers.length; n++) {
    const number = n < count ? a.numbers[n] : b.numbers[n - count];
    numbers[n] = links[2 * n] < 0 ? Math.round(number * 8192) / 16384 : number;
  }
  return { features: [...a.features], bias: (a.bias + b.bias) / 2, roots: Int32Array.from([...a.roots, ...Array.from(b.roots, (r) => r + count)]), links, numbers, calibration: { from: [], to: [] } };
}
