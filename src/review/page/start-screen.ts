import type { AttributeResult } from '../../api/attribute-opened.js';
import type { FileStudy } from '../../browser/open-files.js';
import { fill, h } from './dom.js';
import { attributeHere, openChosenFiles } from './file-source.js';
import { readDrop } from './read-drop.js';
import { formatDuration } from './time-text.js';

export interface Attributed { study: FileStudy; result: AttributeResult; notes: string[] }

/** The page without a server: asks for recordings, shows what was found in them, attributes, and hands on. */
export class StartScreen {
  readonly element = h('main', { class: 'page start' });
  private readonly work = h('section', { class: 'work', 'aria-live': 'polite' });
  private readonly done: Promise<Attributed>;
  private finish!: (done: Attributed) => void;

  constructor(private readonly kernels: WebAssembly.Module) {
    this.done = new Promise((resolve) => { this.finish = resolve; });
    const folder = h('input', { type: 'file', id: 'folder', webkitdirectory: true, hidden: true, onchange: () => void this.open([...folder.files!]) });
    const files = h('input', { type: 'file', id: 'files', multiple: true, hidden: true, onchange: () => void this.open([...files.files!]) });
    const drop = h('section', { class: 'drop', 'aria-label': 'Recordings' },
      h('h2', {}, 'Drop a folder of recordings here'),
      h('p', { class: 'soft' }, 'One file per bird, files with a channel per bird, or a folder with study.json. WAV (also RF64, BW64, Wave64) and FLAC of any size; files are read piece by piece.'),
      h('div', { class: 'choices' }, h('button', { class: 'good', onclick: () => folder.click() }, 'Choose a folder'), h('button', { onclick: () => files.click() }, 'Choose files')), folder, files);
    addEventListener('dragover', (e) => { e.preventDefault(); drop.classList.add('over'); });
    addEventListener('dragleave', () => drop.classList.remove('over'));
    addEventListener('drop', (e) => {
      e.preventDefault();
      drop.classList.remove('over');
      if (e.dataTransfer) void readDrop(e.dataTransfer).then((list) => this.open(list));
    });
    fill(this.element, h('h1', {}, h('span', { class: 'mark' }, 'volary'), ' · who called when'),
      h('p', {}, 'Finds every call on recordings from miniature radio microphones and says which bird made it. All of it runs in this page: nothing leaves this computer.'), drop, this.work);
  }

  /** Resolves when a study has been attributed. */
  wait(): Promise<Attributed> {
    return this.done;
  }

  private async open(files: File[]): Promise<void> {
    if (!files.length) return;
    fill(this.work, h('p', {}, `Reading the headers of ${files.length} files…`));
    try {
      const { study, notes } = await openChosenFiles(files);
      this.offer(study, notes);
    } catch (error) {
      this.tell(error);
    }
  }

  private offer(study: FileStudy, notes: string[]): void {
    const { timeline, manifest } = study;
    const rows = timeline.tracks.map((t) => h('tr', {}, h('th', { scope: 'row', class: 'left' }, t.bird), h('td', { class: 'left' }, t.recorder), h('td', { class: 'left' }, t.segments.length > 1 ? `${t.segments.length} files` : t.segments[0]?.path ?? '')));
    const start = h('button', { class: 'good', id: 'attribute', disabled: timeline.tracks.length < 2, onclick: () => void this.attribute(study, notes) }, 'Find every call');
    const all = [...notes, ...timeline.problems.map((p) => p.text)];
    fill(this.work, h('h2', {}, manifest.name), h('p', {}, `${timeline.tracks.length} tracks, ${formatDuration(timeline.durationSec)}, ${timeline.sampleRateHz} Hz.`),
      h('div', { class: 'scroll' }, h('table', { class: 'data' }, h('thead', {}, h('tr', {}, ...['bird', 'recorder', 'file'].map((t) => h('th', { scope: 'col', class: 'left' }, t)))), h('tbody', {}, ...rows))),
      all.length ? h('ul', { class: 'soft' }, ...all.map((t) => h('li', {}, t))) : null, h('p', {}, start));
    start.focus();
  }

  private async attribute(study: FileStudy, notes: string[]): Promise<void> {
    const stop = new AbortController();
    const bar = h('progress', { max: 1, value: 0, 'aria-label': 'Progress' });
    const says = h('p', {}, 'Starting…');
    fill(this.work, h('h2', {}, study.manifest.name), says, bar, h('p', {}, h('button', { onclick: () => stop.abort() }, 'Stop')));
    try {
      const result = await attributeHere(this.kernels, study, (stage, done, total) => {
        says.textContent = `${stage[0].toUpperCase()}${stage.slice(1)}: ${done} of ${total}`;
        bar.max = total;
        bar.value = done;
      }, stop.signal);
      this.finish({ study, result, notes });
    } catch (error) {
      if (stop.signal.aborted) this.offer(study, notes);
      else this.tell(error);
    }
  }

  private tell(error: unknown): void {
    fill(this.work, h('p', { class: 'trouble', role: 'alert' }, error instanceof Error ? error.message : String(error)));
  }
}
