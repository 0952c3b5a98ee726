// Gradient boosting with logistic loss on binned features (Friedman 2001, Annals of Statistics 29(5), with second-order leaf values).
// Plain and deterministic; used only to learn the shipped models from simulated scenes.

const BINS = 128;

/** rows: arrays of numbers; labels: 0/1; returns a Forest without calibration. */
export function trainForest(rows, labels, features, options = {}) {
  return trainOnBins(binFeatures(rows, features.length), rows.length, labels, features, options);
}

/** As trainForest, of features in bins: { cuts: [feature][bin], binned: [feature][row] }. Where a row goes is decided by bins alone. */
export function trainOnBins({ cuts, binned }, n, labels, features, options = {}) {
  const { trees = 150, depth = 4, rate = 0.1, l2 = 2, leastHessian = 3, sample = 0.7, seed = 1, weights } = options;
  const width = features.length;
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
    for (let i = 0; i < n; i++) score[i] += tree.value[findLeaf(tree, binned, n, i)];
    delete tree.cut;
    out.push(tree);
  }
  return { features: [...features], bias, trees: out, calibration: { from: [], to: [] } };
}

function findLeaf(tree, binned, n, i) {
  let k = 0;
  while (tree.feature[k] >= 0) k = binned[tree.feature[k] * n + i] <= tree.cut[k] ? tree.left[k] : tree.left[k] + 1;
  return k;
}

/** Bins of equal counts, at most BINS a feature. */
export function binFeatures(rows, width) {
  const n = rows.length;
  const cuts = [];
  const binned = new Uint8Array(new SharedArrayBuffer(width * n));
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
  const tree = { feature: [], threshold: [], left: [], value: [], cut: [] };
  const push = () => { tree.feature.push(-1); tree.cut.push(0); tree.threshold.push(0); tree.left.push(0); tree.value.push(0); return tree.feature.length - 1; };
  const queue = [{ node: push(), items: all, level: 0, sums: sumBins(all, binned, columns, g, h, n) }];
  while (queue.length) {
    const { node, items, level, sums } = queue.shift();
    let G = 0; let H = 0;
    for (let b = 0; b < BINS; b++) { G += sums[2 * b]; H += sums[2 * b + 1]; }
    tree.value[node] = (o.rate * G) / (H + o.l2);
    if (level >= o.depth || H < 2 * o.leastHessian) continue;
    const best = findCut(sums, columns, cuts, G, H, o);
    if (best.f < 0) continue;
    const column = binned.subarray(best.f * n, (best.f + 1) * n);
    let count = 0;
    for (let k = 0; k < items.length; k++) count += Number(column[items[k]] <= best.cut);
    const left = new Uint32Array(count); const right = new Uint32Array(items.length - count);
    for (let k = 0, l = 0, r = 0; k < items.length; k++) { const i = items[k]; if (column[i] <= best.cut) left[l++] = i; else right[r++] = i; }
    tree.feature[node] = best.f;
    tree.cut[node] = best.cut;
    // The model file keeps seven significant digits; learning uses the same rounded threshold.
    tree.threshold[node] = Number(cuts[best.f][best.cut].toPrecision(7));
    const l = push(); push();
    tree.left[node] = l;
    // The sums of the larger child are those of the parent less those of the smaller one.
    const small = left.length <= right.length ? left : right;
    const isLast = level + 1 >= o.depth;
    const few = sumBins(small, binned, isLast ? columns.slice(0, 1) : columns, g, h, n);
    const many = sums.subarray(0, few.length).map((v, k) => v - few[k]);
    const [a, b] = small === left ? [few, many] : [many, few];
    queue.push({ node: l, items: left, level: level + 1, sums: a }, { node: l + 1, items: right, level: level + 1, sums: b });
  }
  tree.value = tree.value.map((v) => Number(v.toPrecision(5)));
  return tree;
}

/** Gradients and Hessians of a node's rows summed by feature and bin: [feature of `columns`][bin][gradient, Hessian]. */
function sumBins(items, binned, columns, g, h, n) {
  const sums = new Float64Array(columns.length * BINS * 2);
  const m = items.length;
  const near = new Float64Array(2 * m);
  for (let k = 0; k < m; k++) { near[2 * k] = g[items[k]]; near[2 * k + 1] = h[items[k]]; }
  columns.forEach((f, c) => {
    const column = binned.subarray(f * n, (f + 1) * n);
    const base = 2 * BINS * c;
    for (let k = 0; k < m; k++) {
      const b = base + 2 * column[items[k]];
      sums[b] += near[2 * k];
      sums[b + 1] += near[2 * k + 1];
    }
  });
  return sums;
}

function findCut(sums, columns, cuts, G, H, o) {
  let best = { gain: 1e-3, f: -1, cut: 0 };
  columns.forEach((f, c) => {
    let gl = 0; let hl = 0;
    const base = 2 * BINS * c;
    for (let b = 0; b < cuts[f].length; b++) {
      gl += sums[base + 2 * b]; hl += sums[base + 2 * b + 1];
      const hr = H - hl;
      if (hl < o.leastHessian || hr < o.leastHessian) continue;
      const gain = (gl * gl) / (hl + o.l2) + ((G - gl) * (G - gl)) / (hr + o.l2) - (G * G) / (H + o.l2);
      if (gain > best.gain) best = { gain, f, cut: b };
    }
  });
  return best;
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
