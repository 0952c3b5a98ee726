import { listCuts, type Forest } from './forest.js';

/** A forest as text: `nodes` holds the bytes of its nodes, tree by tree in order of breadth, as lines of hexadecimal digits: no words come about in them by chance. */
export interface PackedForest {
  features: string[];
  bias: number;
  calibration: { from: number[]; to: number[] };
  /** Nodes of every tree. */
  sizes: number[];
  /** Thresholds in use, by feature, rising. */
  cuts: number[][];
  nodes: string[];
}

/** A leaf is this byte and its value in two more, in steps of 2^-14; an inner node is its feature and the index of its threshold. */
const LEAF = 255;
const STEPS = 16384;
/** Bytes in a line. */
const LINE_BYTES = 80;

/** @throws RangeError where a forest does not fit: 255 features or more, 256 thresholds of a feature, values of 2 or more, or nodes that are not in order of breadth */
export function packForest(forest: Forest): PackedForest {
  const { features, bias, calibration, roots, links, numbers } = forest;
  const cuts = listCuts(forest), places = cuts.map((c) => new Map(c.map((v, k) => [v, k]))), bytes: number[] = [], sizes: number[] = [];
  roots.forEach((root, t) => {
    const end = t + 1 < roots.length ? roots[t + 1] : numbers.length;
    let next = root + 1;
    for (let n = root; n < end; n++) {
      const feature = links[2 * n];
      if (feature >= 0) {
        if (links[2 * n + 1] !== next) throw new RangeError('the nodes of a tree are not in order of breadth');
        next += 2;
        bytes.push(feature, places[feature].get(numbers[n])!);
        continue;
      }
      const value = Math.round(numbers[n] * STEPS);
      if (!(Math.abs(value) < 32768)) throw new RangeError(`the value of a leaf is too large to be packed: ${numbers[n]}`);
      bytes.push(LEAF, value & 255, (value >> 8) & 255);
    }
    sizes.push(end - root);
  });
  return { features, bias, calibration, sizes, cuts, nodes: formatBytes(bytes) };
}

export function unpackForest({ features, bias, calibration, sizes, cuts, nodes }: PackedForest): Forest {
  const bytes = parseBytes(nodes), count = sizes.reduce((a, b) => a + b, 0);
  const roots = new Int32Array(sizes.length), links = new Int32Array(2 * count), numbers = new Float64Array(count);
  let at = 0, n = 0;
  sizes.forEach((size, t) => {
    roots[t] = n;
    for (let next = n + 1, end = n + size; n < end; n++) {
      const feature = bytes[at];
      if (feature === LEAF) {
        links[2 * n] = -1;
        numbers[n] = (((bytes[at + 1] | (bytes[at + 2] << 8)) << 16) >> 16) / STEPS;
        at += 3;
        continue;
      }
      links[2 * n] = feature;
      links[2 * n + 1] = next;
      numbers[n] = cuts[feature][bytes[at + 1]];
      next += 2;
      at += 2;
    }
  });
  return { features, bias, roots, links, numbers, calibration };
}

function formatBytes(bytes: readonly number[]): string[] {
  const lines: string[] = [];
  for (let n = 0; n < bytes.length; n += LINE_BYTES) lines.push(bytes.slice(n, n + LINE_BYTES).map((b) => b.toString(16).padStart(2, '0')).join(''));
  return lines;
}

function parseBytes(lines: readonly string[]): Uint8Array {
  const out = new Uint8Array(lines.reduce((n, line) => n + line.length / 2, 0));
  let at = 0;
  for (const line of lines) for (let i = 0; i < line.length; i += 2) out[at++] = (parseDigit(line.charCodeAt(i)) << 4) | parseDigit(line.charCodeAt(i + 1));
  return out;
}

/** 0 to 9 and a to f by their codes. */
function parseDigit(code: number): number {
  return code < 58 ? code - 48 : code - 87;
}
