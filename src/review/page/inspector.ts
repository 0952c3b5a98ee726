import { SOUND_KINDS } from '../labels.js';
import type { SoundKind } from '../labels.js';
import type { Actions } from './actions.js';
import { nameBird } from './actions.js';
import { fill, h } from './dom.js';
import { drawSpectra } from './draw-spectra.js';
import { explainCall } from './explain-call.js';
import type { Item, ReviewState } from './review-state.js';
import type { Theme } from './theme.js';
import { formatClock, formatDuration, formatShare, parseClock } from './time-text.js';
import type { WorkerCrew } from './worker-crew.js';
import type { CallEvidence } from './worker-messages.js';

const KIND_WORDS: Record<SoundKind, string> = {
  call: 'call', song: 'song', body: 'body noise', dropout: 'lost link', breakthrough: 'breakthrough', room: 'sound of the room', no_call: 'not a call',
};
const STATUS_WORDS: Record<Item['status'], string> = { unheard: 'not heard yet', confirmed: 'confirmed', changed: 'changed', added: 'added', rejected: 'no call' };

/** The panel beside the tracks: the selected call, what speaks for it, and what a person may change. */
export class Inspector {
  readonly element = h('aside', { class: 'inspector', 'aria-label': 'Selected call', tabIndex: 0 });
  readonly kind = h('select', { id: 'kind', onchange: () => this.actions.setKind(this.kind.value as SoundKind) }, ...SOUND_KINDS.map((k) => h('option', { value: k }, KIND_WORDS[k])));
  private readonly head = h('div', {});
  private readonly form: HTMLElement;
  private readonly proof = h('div', { class: 'proof' });
  private readonly bird: HTMLSelectElement;
  private readonly onset = h('input', { id: 'onset', inputMode: 'decimal', onchange: () => this.readTimes() });
  private readonly end = h('input', { id: 'end', inputMode: 'decimal', onchange: () => this.readTimes() });
  private readonly note = h('input', { id: 'note', maxLength: 500, onchange: () => this.actions.setNote(this.note.value) });
  private evidence?: { id: string; onsetSec: number; offsetSec: number; value: CallEvidence };
  private asked = '';
  private timer?: ReturnType<typeof setTimeout>;

  constructor(private readonly state: ReviewState, private readonly actions: Actions, private readonly crew: WorkerCrew, private readonly theme: () => Theme, private readonly isHidden: (item: Item) => boolean) {
    const birds = [...state.source.info.tracks.map((t) => t.bird), 'none'];
    this.bird = h('select', { id: 'bird', onchange: () => actions.setBird(this.bird.value) }, ...birds.map((b) => h('option', { value: b }, nameBird(b))));
    const field = (label: string, input: HTMLElement): HTMLElement => h('label', { class: 'field', for: input.id }, h('span', {}, label), input);
    this.form = h('div', { class: 'fields' }, field('bird', this.bird), field('kind', this.kind), field('onset', this.onset), field('end', this.end), field('note', this.note));
  }

  /** Shows what is selected now. */
  update(): void {
    const item = this.state.selected;
    if (!item) return this.showNothing();
    const hidden = this.isHidden(item);
    const isNew = !this.element.contains(this.form);
    this.showHead(item, hidden);
    if (document.activeElement?.parentElement?.parentElement !== this.form) {
      this.bird.value = hidden ? '' : item.bird;
      this.kind.value = item.label?.kind ?? 'call';
      this.onset.value = item.onsetSec.toFixed(4);
      this.end.value = item.offsetSec.toFixed(4);
      this.note.value = item.label?.note ?? '';
    }
    if (isNew) fill(this.element, this.head, this.form, this.proof);
    this.showProof(item, hidden);
  }

  private showNothing(): void {
    const { items, source } = this.state;
    const heard = items.filter((i) => i.status !== 'unheard').length;
    fill(this.element, h('div', { class: 'empty' },
      h('h2', {}, 'No call selected'),
      h('p', {}, 'Click a call, or press ', h('kbd', {}, '.'), ' for the next one. ', h('kbd', {}, '?'), ' shows all keys.'),
      h('dl', { class: 'facts' }, ...facts([
        ['calls', String(items.filter((i) => i.status !== 'rejected').length)], ['heard', String(heard)], ['length', formatDuration(source.info.durationSec)], ['tracks', String(source.info.tracks.length)],
      ])),
      ...(source.info.notes.length ? [h('details', {}, h('summary', {}, `${source.info.notes.length} notes on the recordings`), h('ul', {}, ...source.info.notes.map((n) => h('li', {}, n))))] : []),
    ));
  }

  private showHead(item: Item, hidden: boolean): void {
    const unsure = item.row && item.status === 'unheard';
    const share = h('div', { class: 'share', role: 'img', 'aria-label': `probability ${formatShare(item.probability)}` }, h('span', {}));
    (share.firstElementChild as HTMLElement).style.width = `${100 * item.probability}%`;
    const button = (text: string, key: string, run: () => void, css = ''): HTMLElement => h('button', { class: css, onclick: run }, text, h('kbd', { 'aria-hidden': 'true' }, key));
    fill(this.head,
      h('p', { class: 'kicker' }, item.row ? `call ${item.row.callId}` : 'added call', h('span', { class: `chip ${item.status}` }, STATUS_WORDS[item.status])),
      h('h2', { class: item.bird === 'none' && !hidden ? 'untagged' : '' }, hidden ? 'Who calls?' : nameBird(item.bird)),
      h('p', { class: 'when' }, `${formatClock(item.onsetSec, 3)} · ${formatDuration(item.offsetSec - item.onsetSec)}${item.row && !hidden ? ` · ${Math.round(item.row.peakHz)} Hz` : ''}`),
      ...(hidden ? [] : [h('div', { class: 'sure' }, share, h('span', {}, unsure || item.row ? formatShare(item.probability) : 'by hand'))]),
      h('div', { class: 'buttons' },
        button('Play', 'Space', () => this.actions.playSelected()), hidden ? null : button('Right', 'Enter', () => this.actions.confirm(), 'good'), button('No call', 'X', () => this.actions.setKind('no_call'), 'bad')),
    );
  }

  private showProof(item: Item, hidden: boolean): void {
    if (item.track < 0) return fill(this.proof, h('p', { class: 'soft' }, 'The study has no track of this bird.'));
    const key = `${item.id} ${item.onsetSec} ${item.offsetSec} ${item.track}`;
    const known = this.evidence;
    if (known && `${known.id} ${known.onsetSec} ${known.offsetSec} ${known.value.own}` === key) return this.drawProof(item, known.value, hidden);
    if (this.asked === key) return;
    this.asked = key;
    fill(this.proof, h('p', { class: 'soft' }, 'Measuring…'));
    clearTimeout(this.timer);
    // Stepping quickly through calls must not measure every one of them.
    this.timer = setTimeout(() => {
      const { id, onsetSec, offsetSec, track } = item;
      this.crew.run({ kind: 'measure', onsetSec, offsetSec, own: track }, -1).then((value) => {
        this.evidence = { id, onsetSec, offsetSec, value };
        if (this.state.selected?.id === id) this.update();
      }, (error: Error) => fill(this.proof, h('p', { class: 'soft' }, `Cannot be measured: ${error.message}`)));
    }, 60);
  }

  private drawProof(item: Item, evidence: CallEvidence, hidden: boolean): void {
    const { info } = this.state.source;
    const loudest = Math.max(...evidence.tracks.map((t) => t.levelDb).filter(Number.isFinite));
    const rows = evidence.tracks.map((t, j) => {
      const bar = h('span', { class: 'bar' });
      bar.style.width = `${Number.isFinite(t.levelDb) ? Math.max(2, 100 + (t.levelDb - loudest) * 2.2) : 0}%`;
      return h('tr', { class: j === evidence.own && !hidden ? 'own' : '' },
        h('th', { scope: 'row' }, h('button', { class: 'ear', title: `hear it on ${info.tracks[j].bird}`, 'aria-label': `hear it on ${info.tracks[j].bird}`, onclick: () => { this.state.chooseTrack(j); this.actions.playOnTrack(); } }, '▸'), nameBird(info.tracks[j].bird)),
        h('td', { class: 'level' }, h('span', { class: 'rail' }, bar), h('span', { class: 'num' }, Number.isFinite(t.levelDb) ? (t.levelDb - loudest).toFixed(1) : '–')),
        h('td', { class: 'num' }, t.lagMs === undefined ? '–' : j === evidence.own ? '0' : `${t.lagMs > 0 ? '+' : ''}${t.lagMs.toFixed(2)}`),
        h('td', { class: 'num' }, j === evidence.own ? '' : t.likeness.toFixed(2).replace(/^0/, '')));
    });
    const rival = this.chooseRival(item, evidence);
    const canvas = h('canvas', { class: 'spectra', role: 'img', 'aria-label': `Mean spectra of the call on ${info.tracks[evidence.own].bird}${rival === undefined ? '' : ` and on ${info.tracks[rival].bird}`}` });
    fill(this.proof,
      h('table', { class: 'levels' }, h('caption', {}, 'All tracks at that moment'), h('thead', {}, h('tr', {}, ...['track', 'level, dB', 'lag, ms', 'like'].map((t) => h('th', { scope: 'col' }, t)))), h('tbody', {}, ...rows)),
      h('figure', {}, canvas, hidden ? null : h('figcaption', {}, h('span', { class: 'key own' }, nameBird(info.tracks[evidence.own].bird)), rival === undefined ? null : h('span', { class: 'key rival' }, nameBird(info.tracks[rival].bird)))),
      ...(hidden ? [] : [h('h3', {}, 'Why'), h('ul', { class: 'why' }, ...explainCall(item, evidence, info).map((t) => h('li', {}, t)))]),
    );
    drawSpectra(canvas, evidence, rival, this.theme());
  }

  /** Whose track to compare with: the table's runner-up, else the loudest other. */
  private chooseRival(item: Item, evidence: CallEvidence): number | undefined {
    const { tracks } = this.state.source.info;
    const named = tracks.findIndex((t, j) => t.bird === item.row?.runnerUp && j !== evidence.own);
    if (named >= 0) return named;
    const others = evidence.tracks.map((t, j) => ({ level: t.levelDb, j })).filter((t) => t.j !== evidence.own).sort((a, b) => b.level - a.level);
    return others[0]?.j;
  }

  private readTimes(): void {
    const [onset, end] = [parseClock(this.onset.value), parseClock(this.end.value)];
    if (onset === undefined || end === undefined || end <= onset) return this.actions.say('Times are seconds such as 83.52 or 1:23.52, the end after the onset.');
    this.actions.setTimes(onset, end);
  }
}

export function facts(rows: [string, string][]): HTMLElement[] {
  return rows.map(([term, text]) => h('div', {}, h('dt', {}, term), h('dd', {}, text)));
}
