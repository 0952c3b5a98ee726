type Child = Node | string | number | null | undefined | false;
type Props = Record<string, unknown>;

/** Makes an element: properties starting with 'on' are listeners, 'class', 'aria-*', 'role' and 'data-*' attributes, others properties. */
export function h<K extends keyof HTMLElementTagNameMap>(tag: K, props: Props = {}, ...children: Child[]): HTMLElementTagNameMap[K] {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === undefined || value === false) continue;
    if (name.startsWith('on')) element.addEventListener(name.slice(2), value as EventListener);
    else if (/^(class|role|for|scope|colspan|aria-|data-)/.test(name)) element.setAttribute(name, String(value));
    else (element as unknown as Props)[name] = value;
  }
  element.append(...children.filter((c): c is Node | string | number => c !== null && c !== undefined && c !== false).map((c) => (typeof c === 'number' ? String(c) : c)));
  return element;
}

/** Replaces what is inside an element. */
export function fill(element: Element, ...children: Child[]): void {
  element.replaceChildren(...children.filter((c): c is Node | string => c !== null && c !== undefined && c !== false).map((c) => (typeof c === 'number' ? String(c) : c)));
}

const SVG = 'http://www.w3.org/2000/svg';

/** Makes an SVG element; all properties are attributes. */
export function svg(tag: string, props: Record<string, string | number>, ...children: (Node | string)[]): SVGElement {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(props)) element.setAttribute(name, String(value));
  element.append(...children);
  return element;
}
