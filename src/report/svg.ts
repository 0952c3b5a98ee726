/** Small builders of SVG and HTML text: attributes escaped, numbers rounded, the same text for the same input. */
import { escapeHtml } from './text.js';

export type Attributes = Readonly<Record<string, string | number | undefined>>;

/** One element; children are markup, not text (see `textNode`). */
export function element(name: string, attributes: Attributes = {}, ...children: string[]): string {
  const list = Object.entries(attributes).filter(([, value]) => value !== undefined)
    .map(([key, value]) => ` ${key}="${typeof value === 'number' ? roundTo(value) : escapeHtml(String(value))}"`).join('');
  return children.length ? `<${name}${list}>${children.join('')}</${name}>` : `<${name}${list}/>`;
}

/** A label. */
export function label(text: string, attributes: Attributes): string {
  return element('text', attributes, escapeHtml(text));
}

/**
 * A label that is squeezed where it would be wider than `room`: a name is worth more whole than at full width, and birds of one study are often told
 * apart by its end. Widths are those of a wide bold face, for nobody knows which one the reader's machine has.
 */
export function fittedLabel(text: string, room: number, attributes: Attributes): string {
  return label(text, estimateWidth(text) > room ? { ...attributes, textLength: room, lengthAdjust: 'spacingAndGlyphs' } : attributes);
}

/** Of bold letters of 12.5 px. */
function estimateWidth(text: string): number {
  return [...text].reduce((sum, c) => sum + 12.5 * (/[fijlrtI.,:;'|()\- ]/.test(c) ? 0.46 : /[mwMW→…@%]/.test(c) ? 1.05 : /[A-Z]/.test(c) ? 0.82 : 0.72), 0);
}

/** The text that a pointer finds over a shape, read by screen readers too. */
export function tip(text: string): string {
  return `<title>${escapeHtml(text)}</title>`;
}

export function line(x1: number, y1: number, x2: number, y2: number, css: string): string {
  return element('line', { class: css, x1, y1, x2, y2 });
}

export function box(x: number, y: number, width: number, height: number, css: string, ...children: string[]): string {
  return element('rect', { class: css, x, y, width: Math.max(0, width), height: Math.max(0, height) }, ...children);
}

/** A path through points. */
export function pathThrough(points: readonly (readonly [number, number])[], css: string): string {
  return element('path', { class: css, d: points.map(([x, y], i) => `${i ? 'L' : 'M'}${roundTo(x)} ${roundTo(y)}`).join('') });
}

/** A picture with a viewBox that scales to the page; `about` says in a sentence what it shows. */
export function picture(width: number, height: number, about: string, ...children: string[]): string {
  return element('svg', {
    xmlns: 'http://www.w3.org/2000/svg', viewBox: `0 0 ${roundTo(width)} ${roundTo(height)}`, role: 'img', 'aria-label': about, style: `max-width:${roundTo(width)}px`,
  }, ...children);
}

function roundTo(value: number): string {
  const rounded = Math.round(value * 100) / 100;
  return String(Object.is(rounded, -0) ? 0 : rounded);
}
