import { element, line, box } from './svg.js';

/**
 * A rectangle of slanting lines, drawn as lines and not as a pattern, so that it needs no id and survives being cut out of the page.
 * @param kind lost: a stretch that cannot be used; notag: a caller without a tag
 */
export function drawHatch(x: number, y: number, width: number, height: number, kind: 'lost' | 'notag', title = ''): string {
  const gap = kind === 'lost' ? 7 : 6;
  const css = kind === 'lost' ? 'hatch-line' : 'hatch-line-notag';
  const lines: string[] = [];
  for (let at = x - height + gap / 2; at < x + width; at += gap) {
    // From (at, bottom) to (at + height, top), cut at both sides.
    const from = Math.max(at, x);
    const to = Math.min(at + height, x + width);
    if (to > from) lines.push(line(from, y + height - (from - at), to, y + height - (to - at), css));
  }
  const frame = box(x, y, width, height, kind === 'lost' ? 'room-noise' : 'notag-edge');
  return element('g', {}, title, box(x, y, width, height, kind === 'lost' ? 'ground' : 'notag-wash'), ...lines, frame);
}
