import type { NetworkEdge } from '../analysis/network/index.js';
import { element, fittedLabel, label, picture, tip } from './svg.js';
import { showNumber, shorten } from './text.js';

const SIZE = { width: 760, height: 480, ring: 170 };
const NODE = 9;
/** Room for a name beside the ring. */
const SIDE = (SIZE.width - 2 * 1.25 * (SIZE.ring + 24)) / 2 - 2;
const CSS = { reply: 'edge', pairwise: 'edge-pairwise', fewer: 'edge-fewer', none: 'edge-fewer' } as const;

type Point = readonly [number, number];

/** Birds on a ring; arrows bend to their right, so that the two directions of a pair lie apart. */
export function drawGraph(birds: readonly string[], edges: readonly NetworkEdge[]): string {
  const middle: Point = [SIZE.width / 2, SIZE.height / 2];
  const place = (bird: string, radius: number): Point => {
    const angle = (2 * Math.PI * birds.indexOf(bird)) / birds.length - Math.PI / 2;
    return [middle[0] + radius * 1.25 * Math.cos(angle), middle[1] + radius * Math.sin(angle)];
  };
  const size = (e: NetworkEdge): number => (Number.isFinite(e.excess) ? Math.abs(e.excess) : 0);
  const most = Math.max(1e-9, ...edges.map(size));
  // Weak arrows last, lest a wide one hides them.
  const arrows = [...edges].sort((a, b) => size(b) - size(a)).map((e) => drawArrow(e, place(e.caller, SIZE.ring), place(e.replier, SIZE.ring), 1.2 + (5.5 * size(e)) / most));
  const nodes = birds.map((bird) => {
    const [x, y] = place(bird, SIZE.ring);
    const [tx, ty] = place(bird, SIZE.ring + 24);
    const side = tx > middle[0] + 8 ? 'start' : tx < middle[0] - 8 ? 'end' : 'middle';
    return element('g', {}, element('circle', { class: 'node', cx: x, cy: y, r: NODE }), fittedLabel(shorten(bird, 16), SIDE, { class: 'name halo', x: tx, y: ty + 4, 'text-anchor': side }));
  });
  return picture(SIZE.width, SIZE.height, `Directed network of ${birds.length} birds with ${edges.length} arrows`, ...arrows.map((a) => a.shaft), ...nodes, ...arrows.map((a) => a.text));
}

function drawArrow(e: NetworkEdge, from: Point, to: Point, width: number): { shaft: string; text: string } {
  const length = Math.hypot(to[0] - from[0], to[1] - from[1]) || 1;
  const bend = 0.16 * length + 8;
  const control: Point = [(from[0] + to[0]) / 2 - ((to[1] - from[1]) / length) * bend, (from[1] + to[1]) / 2 + ((to[0] - from[0]) / length) * bend];
  const head = 8 + 1.6 * width;
  const start = stepTowards(from, control, NODE + 3);
  const point = stepTowards(to, control, NODE + 3);
  const neck = stepTowards(to, control, NODE + 3 + head);
  const across: Point = [-(point[1] - neck[1]) / head, (point[0] - neck[0]) / head];
  const half = 3.4 + 0.9 * width;
  const css = CSS[e.kind];
  const show = ([x, y]: Point): string => `${x.toFixed(2)} ${y.toFixed(2)}`;
  const about = tip(`${e.caller} to ${e.replier}, ${e.kind}: excess ${showNumber(e.excess, 3)} (${showNumber(e.excessLow, 3)} to ${showNumber(e.excessHigh, 3)}), q ${showNumber(e.q, 4)}, rate ratio ${showNumber(e.rateRatio, 2)}`);
  const barb = `M${show(point)}L${show([neck[0] + half * across[0], neck[1] + half * across[1]])}L${show([neck[0] - half * across[0], neck[1] - half * across[1]])}z`;
  const shaft = element('g', {}, about, element('path', { class: css, 'stroke-width': width, d: `M${show(start)}Q${show(control)} ${show(neck)}` }), element('path', { class: css === 'edge-fewer' ? 'notag' : 'call', d: barb }));
  // Nearer to the caller than the middle, where arrows cross less, and on the outer side of the bend.
  const t = 0.26;
  const aside = 13 + width / 2;
  const at = [0, 1].map((k) => (1 - t) ** 2 * start[k] + 2 * t * (1 - t) * control[k] + t * t * neck[k]);
  const x = at[0] - ((to[1] - from[1]) / length) * aside;
  const y = at[1] + ((to[0] - from[0]) / length) * aside;
  return { shaft, text: label(showNumber(e.excess, 3), { class: 'small halo', x, y: y + 4, 'text-anchor': 'middle' }) };
}

function stepTowards(from: Point, to: Point, distance: number): Point {
  const length = Math.hypot(to[0] - from[0], to[1] - from[1]) || 1;
  return [from[0] + ((to[0] - from[0]) / length) * distance, from[1] + ((to[1] - from[1]) / length) * distance];
}
