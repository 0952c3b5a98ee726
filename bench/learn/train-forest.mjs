// Gradient boosting with logistic loss on binned features (Friedman 2001, Annals of Statistics 29(5), with second-order leaf values).
// Plain and deterministic; used only to learn the shipped models from simulated scenes.

const BINS = 64;

/** rows: arrays of numbers; labels: 0/1; returns a Forest without calibration. */
export function trainForest(rows, labels, features, options = {}) {
  const { trees = 150, depth = 4, rate = 0.1, l2 = 2, leastHessian = 3, sample = 0.7, seed = 1, weights } = options;
  const n = rows.length;
  const width = features.length;
  const { cuts, binned } = binFeatures(rows, width);
  let positive = 0;
  for (const y of labels) positive += y;
  const bias = Math.log((positive + 1) / (n - positive + 1));
  const score = new Float64Array(n).fill(bias);
  const g = new Float64Array(n);
  const h = new Float64Array(n);
  const random = lehmer(seed);
  const out = [];
  for (let t = 0; t < trees; t++) {
    for (let i = 0; i < n; i++) {
      const p = 1 / (1 + Math.exp(-score[i]));
      const w = weights ? weights[i] : 1;
      g[i] = w * (labels[i] - p);
      h[i] = w * Math.max(1e-6, p * (1 - p));
    }
    const chosen = [];
    for (let i = 0; i < n; i++) if (random() < sample) chosen.push(i);
    const columns = [];
    for (let f = 0; f < width; f++) if (random() < 0.6) columns.push(f);
    const tree = growTree(Uint32Array.from(chosen), binned, cuts, columns, g, h, n, { depth, l2, leastHessian, rate });
    out.push(tree);
    for (let i = 0; i < n; i++) score[i] += readTree(tree, rows[i]);
  }
  return { features: [...features], bias, trees: out, calibration: { from: [], to: [] } };
}

function readTree(tree, x) {
  let k = 0;
  while (tree.feature[k] >= 0) k = x[tree.feature[k]] < tree.threshold[k] ? tree.left[k] : tree.left[k] + 1;
  return tree.value[k];
}

function binFeatures(rows, width) {
  const n = rows.length;
  const cuts = [];
  const binned = new Uint8Array(width * n);
  for (let f = 0; f < width; f++) {
    const column = Float64Array.from(rows, (r) => r[f]).sort();
    const c = [];
    for (let b = 1; b < BINS; b++) {
      const v = column[Math.floor((b * n) / BINS)];
      if (c.length === 0 || v > c[c.length - 1]) c.push(v);
    }
    cuts.push(c);
    for (let i = 0; i < n; i++) {
      let lo = 0; let hi = c.length;
      const v = rows[i][f];
      while (lo < hi) { const m = (lo + hi) >> 1; if (v >= c[m]) lo = m + 1; else hi = m; }
      binned[f * n + i] = lo;
    }
  }
  return { cuts, binned };
}

function growTree(all, binned, cuts, columns, g, h, n, o) {
  const tree = { feature: [], threshold: [], left: [], value: [] };
  const push = () => { tree.feature.push(-1); tree.threshold.push(0); tree.left.push(0); tree.value.push(0); return tree.feature.length - 1; };
  const queue = [{ node: push(), items: all, level: 0 }];
  const gs = new Float64Array(BINS); const hs = new Float64Array(BINS);
  while (queue.length) {
    const { node, items, level } = queue.shift();
    let G = 0; let H = 0;
    for (const i of items) { G += g[i]; H += h[i]; }
    tree.value[node] = (o.rate * G) / (H + o.l2);
    if (level >= o.depth || H < 2 * o.leastHessian) continue;
    let best = { gain: 1e-3, f: -1, cut: 0 };
    for (const f of columns) {
      gs.fill(0); hs.fill(0);
      const base = f * n;
      for (let k = 0; k < items.length; k++) { const i = items[k]; const b = binned[base + i]; gs[b] += g[i]; hs[b] += h[i]; }
      let gl = 0; let hl = 0;
      for (let b = 0; b < cuts[f].length; b++) {
        gl += gs[b]; hl += hs[b];
        const hr = H - hl;
        if (hl < o.leastHessian || hr < o.leastHessian) continue;
        const gain = (gl * gl) / (hl + o.l2) + ((G - gl) * (G - gl)) / (hr + o.l2) - (G * G) / (H + o.l2);
        if (gain > best.gain) best = { gain, f, cut: b };
      }
    }
    if (best.f < 0) continue;
    const left = []; const right = [];
    for (const i of items) (binned[best.f * n + i] <= best.cut ? left : right).push(i);
    tree.feature[node] = best.f;
    // The model file keeps seven significant digits; learning uses the same rounded threshold.
    tree.threshold[node] = Number(cuts[best.f][best.cut].toPrecision(7));
    const l = push(); push();
    tree.left[node] = l;
    queue.push({ node: l, items: Uint32Array.from(left), level: level + 1 }, { node: l + 1, items: Uint32Array.from(right), level: level + 1 });
  }
  tree.value = tree.value.map((v) => Number(v.toPrecision(5)));
  return tree;
}

/** Park and Miller's minimal standard generator: the same draws everywhere. */
function lehmer(seed) {
  let s = seed;
  return () => { s = (16807 * s) % 2147483647; return s / 2147483647; };
}

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
