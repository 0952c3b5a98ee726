// The picture of bench/pipeline/scaling.mjs: processor time per second of recording, one panel per series.
const WIDTH = 250;
const HEIGHT = 180;
const escape = (text) => text.replaceAll('&', '&amp;').replaceAll('<', '&lt;');

export function drawScaling({ machine, node, date, series }) {
  const names = Object.keys(series);
  const panels = names.map((name, n) => drawPanel(name, series[name], 10 + n * (WIDTH + 10))).join('');
  return `<svg xmlns="http://www.w3.org/2000/svg" width="${names.length * (WIDTH + 10) + 10}" height="${HEIGHT + 60}" font-family="sans-serif" font-size="11">`
    + `<rect width="100%" height="100%" fill="#fff"/><text x="10" y="18" font-size="13">attribute: ms of processor time per second of recording</text>${panels}`
    + `<text x="10" y="${HEIGHT + 52}" fill="#555">${escape(`${machine}, Node ${node}, ${date}; medians`)}</text></svg>\n`;
}

function drawPanel(name, rows, left) {
  const cost = rows.map((r) => (1000 * r.processorSec) / r.durationSec);
  const top = Math.max(...cost, 1e-9);
  const step = (WIDTH - 20) / rows.length;
  const bars = rows.map((r, n) => {
    const height = (cost[n] / top) * (HEIGHT - 80);
    const x = left + 10 + n * step;
    const y = 30 + HEIGHT - 40 - height;
    return `<rect x="${x.toFixed(1)}" y="${y.toFixed(1)}" width="${(step * 0.7).toFixed(1)}" height="${height.toFixed(1)}" fill="#3b6ea5"/>`
      + `<text x="${x.toFixed(1)}" y="${(y - 3).toFixed(1)}">${cost[n].toFixed(1)}</text><text x="${x.toFixed(1)}" y="${30 + HEIGHT - 28 + 12 * (n % 2)}" font-size="9">${escape(r.label)}</text>`;
  }).join('');
  return `<text x="${left + 10}" y="40" font-weight="bold">${escape(name)}</text>${bars}`;
}
