/** The frame of the page: head, navigation, sections, figures, tables. */
import { reportStyle } from './style.js';
import { escapeHtml } from './text.js';

export interface Section {
  id: string;
  title: string;
  /** Markup. */
  body: string;
}

/** The whole document. `header` is markup. */
export function buildPage(title: string, header: string, sections: readonly Section[], footer: string): string {
  const links = sections.map((s) => `<li><a href="#${s.id}">${escapeHtml(s.title)}</a></li>`).join('');
  const body = sections.map((s) => `<section id="${s.id}"><h2>${escapeHtml(s.title)}</h2>\n${s.body}</section>`).join('\n');
  return `<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width,initial-scale=1">
<title>${escapeHtml(title)}</title>
<style>${reportStyle}</style>
</head>
<body>
<header class="top">${header}<nav aria-label="Contents"><ul>${links}</ul></nav></header>
<main>
${body}
</main>
<footer>${footer}</footer>
</body>
</html>
`;
}

/** A sentence or more of text without markup. */
export function paragraph(text: string, css?: string): string {
  return `<p${css ? ` class="${css}"` : ''}>${escapeHtml(text)}</p>`;
}

/** A figure with its caption and, where given, the link to its data. */
export function figure(drawing: string, heading: string, caption: string, data = ''): string {
  return `<figure>${scrollFrame(heading.replace(/\.$/, ''), drawing)}<figcaption><b>${escapeHtml(heading)}</b> ${escapeHtml(caption)}${data}</figcaption></figure>\n`;
}

/** A frame that scrolls where its content is wider than the page; it can be reached by the keyboard, for without a pointer nothing else scrolls it. */
export function scrollFrame(name: string, content: string): string {
  return `<div class="scroll" tabindex="0" role="group" aria-label="${escapeHtml(name)}">${content}</div>`;
}

export interface TableOptions {
  caption?: string;
  css?: string;
  /** Columns (0 = first) whose text stands left. */
  left?: readonly number[];
}

/** A table of plain text; the first column names the row. */
export function table(head: readonly string[], rows: readonly (readonly string[])[], options: TableOptions = {}): string {
  const side = (column: number): string => (options.left?.includes(column) ? ' class="left"' : '');
  const caption = options.caption ? `<caption>${escapeHtml(options.caption)}</caption>` : '';
  const headRow = head.map((h, c) => `<th scope="col"${side(c)}>${escapeHtml(h)}</th>`).join('');
  const body = rows.map((row) => `<tr>${row.map((cell, c) => (c === 0 ? `<th scope="row">${escapeHtml(cell)}</th>` : `<td${side(c)}>${escapeHtml(cell)}</td>`)).join('')}</tr>`);
  return `${scrollFrame(`table: ${head.join(', ')}`, `<table${options.css ? ` class="${options.css}"` : ''}>${caption}<thead><tr>${headRow}</tr></thead><tbody>${body.join('\n')}</tbody></table>`)}\n`;
}

/** A link that saves the numbers behind a figure as CSV. */
export function dataLink(fileName: string, head: readonly string[], rows: readonly (readonly (string | number)[])[]): string {
  const quote = (value: string | number): string => (/[",\r\n]/.test(String(value)) ? `"${String(value).replaceAll('"', '""')}"` : String(value));
  const text = [head, ...rows].map((row) => row.map(quote).join(',')).join('\n');
  return `<a class="get" download="${escapeHtml(fileName)}" href="data:text/csv;charset=utf-8,${encodeURIComponent(`${text}\n`).replaceAll("'", '%27')}">numbers as CSV</a>`;
}
