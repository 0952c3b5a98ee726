import { fill, h } from './dom.js';

export interface View {
  id: string;
  title: string;
  /** Builds the view anew each time it is opened; without it the panel is filled once. */
  build?: () => HTMLElement | Promise<HTMLElement>;
}

/** The views of the page as tabs, by the pattern of the ARIA Authoring Practices (tabs with automatic activation). */
export class Tabs {
  current = 'tracks';
  readonly list = h('div', { class: 'tabs', role: 'tablist', 'aria-label': 'Views', onkeydown: (e: KeyboardEvent) => this.onKey(e) });
  readonly panels: HTMLElement[];
  private readonly buttons = new Map<string, HTMLElement>();

  constructor(private readonly views: View[], private readonly onOpen: (id: string) => void) {
    this.panels = views.map((v) => h('section', { class: 'view', id: `view-${v.id}`, role: 'tabpanel', 'aria-labelledby': `tab-${v.id}` }));
    for (const v of views) {
      const button = h('button', { role: 'tab', id: `tab-${v.id}`, 'aria-controls': `view-${v.id}`, onclick: () => this.open(v.id) }, v.title);
      this.buttons.set(v.id, button);
      this.list.append(button);
    }
    this.mark();
  }

  fill(id: string, content: HTMLElement): void {
    fill(this.panels[this.indexOf(id)], content);
  }

  open(id: string): void {
    const index = this.indexOf(id);
    if (index < 0) return;
    // What stood there when the view was left is old: whoever chose something in it would lose it when the new takes its place.
    if (id !== this.current && this.views[index].build) fill(this.panels[index]);
    this.current = id;
    this.mark();
    this.refresh();
    this.onOpen(id);
  }

  /** Builds the open view anew, as after a change of colours. */
  refresh(): void {
    const id = this.current;
    const { build } = this.views[this.indexOf(id)];
    if (!build) return;
    Promise.resolve().then(build).then((content) => { if (this.current === id) this.fill(id, content); }, (error: Error) => this.fill(id, h('p', { class: 'page' }, `Cannot be shown: ${error.message}`)));
  }

  private indexOf(id: string): number {
    return this.views.findIndex((v) => v.id === id);
  }

  private mark(): void {
    this.views.forEach((v, k) => {
      const isOpen = v.id === this.current;
      this.panels[k].hidden = !isOpen;
      this.buttons.get(v.id)!.setAttribute('aria-selected', String(isOpen));
      this.buttons.get(v.id)!.tabIndex = isOpen ? 0 : -1;
    });
  }

  private onKey(e: KeyboardEvent): void {
    const step = { ArrowRight: 1, ArrowLeft: -1 }[e.key];
    if (!step) return;
    e.preventDefault();
    const next = this.views[(this.indexOf(this.current) + step + this.views.length) % this.views.length];
    this.open(next.id);
    this.buttons.get(next.id)!.focus();
  }
}
