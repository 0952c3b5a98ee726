import { drawExcerpt } from './draw-excerpt.js';
import type { ExcerptContent } from './draw-excerpt.js';
import { element, label } from './svg.js';
import { pictureStyle } from './style.js';

const MARGIN = 16;
const TOP = 40;

/**
 * An excerpt as an SVG file of its own, on light paper with its rules inside: for a paper, a talk, a web page.
 * @example await writeFile('excerpt.svg', drawStandaloneExcerpt({ excerpt, calls, sounds }, 'Eight seconds of a morning'))
 */
export function drawStandaloneExcerpt(content: ExcerptContent, title: string): string {
  const inner = drawExcerpt(content);
  const [, width, height] = /viewBox="0 0 ([\d.]+) ([\d.]+)"/.exec(inner)!.map(Number);
  const placed = inner.replace('<svg ', `<svg x="${MARGIN}" y="${TOP}" width="${width}" height="${height}" `).replace(/ style="[^"]*"/, '');
  return `${element('svg', { xmlns: 'http://www.w3.org/2000/svg', viewBox: `0 0 ${width + 2 * MARGIN} ${height + TOP + MARGIN}`, role: 'img', 'aria-label': title },
    `<style>${pictureStyle}.title{font-size:16px!important;font-weight:600}.paper{fill:var(--paper)}</style>`, element('rect', { class: 'paper', width: width + 2 * MARGIN, height: height + TOP + MARGIN }),
    label(title, { class: 'title', x: MARGIN + 6, y: 27 }), placed)}\n`;
}
