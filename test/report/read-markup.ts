const VOID = new Set(['meta', 'br', 'hr', 'img', 'input', 'link', 'col']);

const TAG = /<(\/?)([A-Za-z][\w-]*)((?:\s+[\w:-]+="[^"<]*")*)\s*(\/?)>/y;

export interface Element { name: string; attributes: Record<string, string> }

/**
 * Reads an HTML text strictly: every element closed in order, attributes quoted and not twice, no stray '<' or '&', no control characters.
 * Throws where it is not so; returns the elements.
 */
export function readMarkup(html: string): Element[] {
  if (!html.startsWith('<!DOCTYPE html>\n')) throw new Error('no doctype');
  if (/[\u0000-\u0008\u000b\u000c\u000e-\u001f]/.test(html)) throw new Error('control character');
  const elements: Element[] = [];
  const open: string[] = [];
  const rest = html.slice(16).replace(/<style>[^<]*<\/style>/g, '');
  let at = 0;
  while (at < rest.length) {
    const next = rest.indexOf('<', at);
    checkText(rest.slice(at, next < 0 ? rest.length : next));
    if (next < 0) break;
    TAG.lastIndex = next;
    const tag = TAG.exec(rest);
    if (!tag) throw new Error(`broken tag at ${rest.slice(next, next + 80)}`);
    at = next + tag[0].length;
    const [, closing, name, list, selfClosing] = tag;
    if (closing) {
      if (open.pop() !== name) throw new Error(`</${name}> closes something else`);
      continue;
    }
    const attributes: Record<string, string> = {};
    for (const [, key, value] of list.matchAll(/([\w:-]+)="([^"]*)"/g)) {
      if (key in attributes) throw new Error(`${key} twice in <${name}>`);
      checkText(value);
      attributes[key] = value;
    }
    elements.push({ name, attributes });
    if (!selfClosing && !VOID.has(name)) open.push(name);
  }
  if (open.length) throw new Error(`not closed: ${open.join(' ')}`);
  return elements;
}

function checkText(text: string): void {
  const stray = /&(?!(amp|lt|gt|quot|#39);)|>/.exec(text);
  if (stray) throw new Error(`not escaped: ${text.slice(Math.max(0, stray.index - 30), stray.index + 30)}`);
}

/** Text of the page without markup, blanks joined. */
export function readText(html: string): string {
  return html.replace(/<style>[^<]*<\/style>/g, '').replace(/<title>[^<]*<\/title>/g, '').replace(/<[^>]*>/g, ' ')
    .replaceAll('&lt;', '<').replaceAll('&gt;', '>').replaceAll('&quot;', '"').replaceAll('&#39;', "'").replaceAll('&amp;', '&').replace(/[\s\u00a0]+/g, ' ');
}
