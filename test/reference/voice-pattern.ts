/** Plain reference of the pattern of a voice: 96 whole numbers, -127 .. 127. */
export function referenceVoice(spectrum: ArrayLike<number>, first: number, end: number): number[] {
  const width = (end - first) / 96;
  const level = Array.from({ length: 96 }, (_, k) => {
    const from = first + k * width, to = first + (k + 1) * width;
    let sum = 0;
    for (let b = first; b < end; b++) sum += spectrum[b] * Math.max(0, Math.min(b + 1, to) - Math.max(b, from));
    return Math.sqrt(Math.sqrt(sum));
  });
  const less = level.map((v, k) => {
    const around = level.slice(Math.max(0, k - 7), k + 8);
    return v - around.reduce((s, w) => s + w, 0) / around.length;
  });
  const most = Math.max(...less.map(Math.abs));
  return less.map((v) => (most > 0 ? Math.round((127 * v) / most) : 0));
}
