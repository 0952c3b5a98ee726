/** Linear paths per bin by plain loops in double precision. */
export interface Spectra { re: ArrayLike<number>; im: ArrayLike<number>; frameCount: number; binCount: number }

export interface Complex { re: number; im: number }
export const at = (x: Spectra, frame: number, bin: number): Complex => (frame < 0 || frame >= x.frameCount ? { re: 0, im: 0 } : { re: x.re[frame * x.binCount + bin], im: x.im[frame * x.binCount + bin] });
export const times = (a: Complex, b: Complex): Complex => ({ re: a.re * b.re - a.im * b.im, im: a.re * b.im + a.im * b.re });
export const conj = (a: Complex): Complex => ({ re: a.re, im: -a.im });

/** Plain Gaussian elimination with pivots, the right side one column. */
export function solveDense(matrix: Complex[][], right: Complex[]): Complex[] {
  const m = matrix.map((row, i) => [...row, right[i]]), n = right.length;
  for (let c = 0; c < n; c++) {
    let best = c;
    for (let r = c; r < n; r++) if (Math.hypot(m[r][c].re, m[r][c].im) > Math.hypot(m[best][c].re, m[best][c].im)) best = r;
    [m[c], m[best]] = [m[best], m[c]];
    const p = m[c][c], size = p.re * p.re + p.im * p.im, inverse = { re: p.re / size, im: -p.im / size };
    m[c] = m[c].map((v) => times(v, inverse));
    for (let r = 0; r < n; r++) {
      if (r === c) continue;
      const f = m[r][c];
      m[r] = m[r].map((v, k) => { const s = times(f, m[c][k]); return { re: v.re - s.re, im: v.im - s.im }; });
    }
  }
  return m.map((row) => row[n]);
}

/** Normal matrix and right side of one bin, by their definition. */
export function directSystem(refs: readonly Spectra[], observed: Spectra, weight: ArrayLike<number>, prior: ArrayLike<number>, bin: number, taps: number, lead: number): { matrix: Complex[][]; right: Complex[]; tap(a: number, k: number): Complex } {
  const size = refs.length * taps;
  const tap = (a: number, k: number): Complex => at(refs[Math.floor(a / taps)], k - ((a % taps) - lead), bin);
  const sum = (a: number, value: (k: number) => Complex): Complex => {
    const s = { re: 0, im: 0 };
    for (let k = 0; k < observed.frameCount; k++) { const p = times(conj(tap(a, k)), value(k)), w = weight[k * observed.binCount + bin]; s.re += w * p.re; s.im += w * p.im; }
    return s;
  };
  const matrix = Array.from({ length: size }, (_, a) => Array.from({ length: size }, (_u, b) => { const v = sum(a, (k) => tap(b, k)); if (a === b) v.re += 1 / prior[a * observed.binCount + bin]; return v; }));
  return { matrix, right: Array.from({ length: size }, (_, a) => sum(a, (k) => at(observed, k, bin))), tap };
}
