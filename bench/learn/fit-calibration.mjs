// Calibration of log-odds against outcomes.

/** Isotonic calibration (pool adjacent violators) of log-odds against outcomes, as rising knots of log-odds. */
export function fitCalibration(scores, labels, leastCount = 40) {
  const order = [...scores.keys()].sort((a, b) => scores[a] - scores[b]);
  let blocks = order.map((i) => ({ n: 1, y: labels[i], s: scores[i] }));
  const merged = [];
  for (const b of blocks) {
    merged.push({ ...b });
    while (merged.length > 1) {
      const a = merged[merged.length - 2]; const c = merged[merged.length - 1];
      if (a.n >= leastCount && c.n >= leastCount && a.y / a.n < c.y / c.n) break;
      if (a.n >= leastCount && c.n < leastCount) break;
      merged.pop(); a.n += c.n; a.y += c.y; a.s += c.s;
    }
  }
  blocks = merged;
  const from = []; const to = [];
  for (const b of blocks) {
    const p = (b.y + 0.5) / (b.n + 1);
    const x = b.s / b.n; const z = Math.log(p / (1 - p));
    if (from.length && (x <= from[from.length - 1] || z <= to[to.length - 1])) continue;
    from.push(Number(x.toFixed(4))); to.push(Number(z.toFixed(4)));
  }
  return { from, to };
}

/**
 * Smooth calibration of log-odds against outcomes: a + b z + c max(0, z - 2), logistic likelihood with weak priors (b near 1, c near 0), by
 * Newton's method; given as knots, so that what lies beyond the data goes on in a straight line up to the last knot.
 */
export function fitRisingLine(scores, labels) {
  const bend = 2;
  let w = [0, 1, 0];
  const prior = [[0, 0.01], [1, 1], [0, 1]];
  for (let round = 0; round < 40; round++) {
    const g = [0, 0, 0];
    const h = [0, 1, 2].map(() => [0, 0, 0]);
    prior.forEach(([m, k], i) => { g[i] -= k * (w[i] - m); h[i][i] += k; });
    scores.forEach((z, n) => {
      const x = [1, z, Math.max(0, z - bend)];
      const p = 1 / (1 + Math.exp(-(w[0] + w[1] * x[1] + w[2] * x[2])));
      for (let i = 0; i < 3; i++) {
        g[i] += (labels[n] - p) * x[i];
        for (let j = 0; j < 3; j++) h[i][j] += p * (1 - p) * x[i] * x[j];
      }
    });
    const step = solve3(h, g);
    w = w.map((v, i) => v + step[i]);
    if (Math.max(...step.map(Math.abs)) < 1e-7) break;
  }
  const rise = Math.max(0.05, w[1]);
  const late = Math.max(0.05, w[1] + w[2]);
  const at = (z) => w[0] + rise * Math.min(z, bend) + late * Math.max(0, z - bend);
  const from = [-12, bend, 14];
  return { from, to: from.map((z) => Number(at(z).toFixed(4))) };
}

function solve3(h, g) {
  const a = h.map((r, i) => [...r, g[i]]);
  for (let i = 0; i < 3; i++) {
    for (let k = i + 1; k < 3; k++) {
      const f = a[k][i] / a[i][i];
      for (let j = i; j < 4; j++) a[k][j] -= f * a[i][j];
    }
  }
  const x = [0, 0, 0];
  for (let i = 2; i >= 0; i--) x[i] = (a[i][3] - [0, 1, 2].reduce((s, j) => (j > i ? s + a[i][j] * x[j] : s), 0)) / a[i][i];
  return x;
}
