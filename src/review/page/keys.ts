import type { Actions } from './actions.js';
import type { App } from './app.js';
import { h } from './dom.js';

export interface KeyRule {
  /** As KeyboardEvent.key says it, with 'Shift+' or 'Mod+' (Ctrl or Command) before it. */
  keys: string[];
  /** As written in the help. */
  shown: string;
  text: string;
  group: 'Move' | 'Listen' | 'Judge' | 'Change' | 'View';
  run(actions: Actions, app: App): void;
}

const MS = 0.001;
const isUnheard = (i: { status: string }): boolean => i.status === 'unheard';

/** All keys of the tracks, in the order of the help. */
export const KEY_RULES: KeyRule[] = [
  { keys: ['ArrowLeft'], shown: '←', text: 'earlier', group: 'Move', run: (a) => a.panBy(-0.2) },
  { keys: ['ArrowRight'], shown: '→', text: 'later', group: 'Move', run: (a) => a.panBy(0.2) },
  { keys: ['Shift+ArrowLeft', 'PageUp'], shown: 'Shift ←', text: 'a screen earlier', group: 'Move', run: (a) => a.panBy(-0.9) },
  { keys: ['Shift+ArrowRight', 'PageDown'], shown: 'Shift →', text: 'a screen later', group: 'Move', run: (a) => a.panBy(0.9) },
  { keys: ['Home'], shown: 'Home', text: 'start of the study', group: 'Move', run: (a) => a.goTo(0) },
  { keys: ['End'], shown: 'End', text: 'end of the study', group: 'Move', run: (a) => a.goTo(a.state.source.info.durationSec) },
  { keys: ['ArrowUp'], shown: '↑', text: 'track above', group: 'Move', run: (a) => a.state.chooseTrack(a.state.track - 1) },
  { keys: ['ArrowDown'], shown: '↓', text: 'track below', group: 'Move', run: (a) => a.state.chooseTrack(a.state.track + 1) },
  { keys: ['+', '='], shown: '+', text: 'closer', group: 'Move', run: (a) => a.zoomBy(0.5) },
  { keys: ['-', '_'], shown: '−', text: 'further', group: 'Move', run: (a) => a.zoomBy(2) },
  { keys: ['f'], shown: 'F', text: 'fill the screen with the call', group: 'Move', run: (a) => a.frameSelected() },
  { keys: ['w'], shown: 'W', text: 'whole study', group: 'Move', run: (a) => a.showAll() },
  { keys: ['g'], shown: 'G', text: 'go to a time', group: 'Move', run: (_, app) => app.askTime() },
  { keys: ['.'], shown: '.', text: 'next call', group: 'Move', run: (a) => a.step(1) },
  { keys: [','], shown: ',', text: 'call before', group: 'Move', run: (a) => a.step(-1) },
  { keys: ['j'], shown: 'J', text: 'next unheard call of this track', group: 'Move', run: (a) => a.step(1, (i) => isUnheard(i) && i.track === a.state.track) },
  { keys: ['u'], shown: 'U', text: 'next unheard call less sure than .9', group: 'Move', run: (a) => a.step(1, (i) => isUnheard(i) && i.probability < 0.9) },
  { keys: [' '], shown: 'Space', text: 'hear the call, or stop', group: 'Listen', run: (a) => a.playSelected() },
  { keys: ['t'], shown: 'T', text: 'hear it on the chosen track', group: 'Listen', run: (a) => a.playOnTrack() },
  { keys: ['Shift+ '], shown: 'Shift Space', text: 'hear the chosen track, all in view', group: 'Listen', run: (a) => a.playView() },
  { keys: ['s'], shown: 'S', text: 'slower: 1/2, 1/4, 1/8, full speed', group: 'Listen', run: (a) => a.changeSpeed() },
  { keys: ['v'], shown: 'V', text: 'separated voices or tracks as recorded', group: 'Listen', run: (a) => a.toggleVoices() },
  { keys: ['Enter'], shown: 'Enter', text: 'right: confirm', group: 'Judge', run: (a) => a.confirm() },
  { keys: ['1', '2', '3', '4', '5', '6', '7', '8', '9'], shown: '1 … 9', text: 'it was this bird (Shift: 10 … 18)', group: 'Judge', run: () => undefined },
  { keys: ['0'], shown: '0', text: 'it was a bird without a tag', group: 'Judge', run: (a) => a.setBird('none') },
  { keys: ['x'], shown: 'X', text: 'not a call', group: 'Judge', run: (a) => a.setKind('no_call') },
  { keys: ['b'], shown: 'B', text: 'body noise of the wearer', group: 'Judge', run: (a) => a.setKind('body') },
  { keys: ['k'], shown: 'K', text: 'choose the kind', group: 'Judge', run: (_, app) => app.focusKind() },
  { keys: ['Shift+Enter'], shown: 'Shift Enter', text: 'confirm all unheard calls in view', group: 'Judge', run: (a) => a.confirmView() },
  { keys: ['c'], shown: 'C', text: 'take the answer back', group: 'Judge', run: (a) => a.clear() },
  { keys: ['a'], shown: 'A', text: 'add a call at the pointer (or drag with Alt)', group: 'Change', run: (a) => a.addHere() },
  { keys: ['Delete', 'Backspace'], shown: 'Delete', text: 'remove the call', group: 'Change', run: (a) => a.remove() },
  { keys: ['['], shown: '[', text: 'onset 2 ms earlier', group: 'Change', run: (a) => a.nudge('onset', -2 * MS) },
  { keys: [']'], shown: ']', text: 'onset 2 ms later', group: 'Change', run: (a) => a.nudge('onset', 2 * MS) },
  { keys: ['{', 'Shift+{'], shown: '{', text: 'end 2 ms earlier', group: 'Change', run: (a) => a.nudge('offset', -2 * MS) },
  { keys: ['}', 'Shift+}'], shown: '}', text: 'end 2 ms later', group: 'Change', run: (a) => a.nudge('offset', 2 * MS) },
  { keys: ['z', 'Mod+z'], shown: 'Z', text: 'undo', group: 'Change', run: (a) => a.undo() },
  { keys: ['Shift+Z', 'Mod+Shift+Z', 'Mod+y'], shown: 'Shift Z', text: 'redo', group: 'Change', run: (a) => a.redo() },
  { keys: ['q'], shown: 'Q', text: 'verify the drawn calls, or leave', group: 'View', run: (_, app) => app.toggleVerify() },
  { keys: ['h'], shown: 'H', text: 'hide or show the answer while verifying', group: 'View', run: (_, app) => app.toggleHidden() },
  { keys: ['o'], shown: 'O', text: 'overview of days', group: 'View', run: (_, app) => app.show('days') },
  { keys: ['d'], shown: 'D', text: 'more contrast (Shift: less)', group: 'View', run: (_, app) => app.changeContrast(-6) },
  { keys: ['Shift+D'], shown: 'Shift D', text: 'less contrast', group: 'View', run: (_, app) => app.changeContrast(6) },
  { keys: ['l'], shown: 'L', text: 'light, dark, or as the computer', group: 'View', run: (_, app) => app.nextTheme() },
  { keys: ['?', 'Shift+?'], shown: '?', text: 'these keys', group: 'View', run: (_, app) => app.showHelp() },
  { keys: ['Escape'], shown: 'Esc', text: 'let go of the call; back to the tracks', group: 'View', run: (_, app) => app.escape() },
];

/** Many keyboards type these with AltGr or Option, on the keys of digits; AltGr comes as Ctrl and Alt on Windows. */
const isBracket = (e: KeyboardEvent): boolean => ['[', ']', '{', '}'].includes(e.key);

/** Listens on the document; keys typed into fields are left alone. */
export function attachKeys(app: App, actions: Actions): void {
  document.addEventListener('keydown', (e) => {
    const target = e.target as HTMLElement;
    if ((e.altKey && !isBracket(e)) || target.closest('dialog[open]')) return;
    const isField = /^(INPUT|SELECT|TEXTAREA)$/.test(target.tagName);
    if (isField) {
      if (e.key === 'Escape') app.focusTracks();
      return;
    }
    // Buttons, tabs and lists keep the keys that work them.
    const isControl = target.closest('button, a, [role=tab], [role=grid], summary') !== null;
    if (isControl && [' ', 'Enter', 'ArrowLeft', 'ArrowRight', 'ArrowUp', 'ArrowDown', 'Home', 'End'].includes(e.key)) return;
    const isMod = e.metaKey || (e.ctrlKey && !e.altKey);
    const bird = isBracket(e) ? null : /^Digit([1-9])$/.exec(e.code);
    if (bird && !isMod && app.isOnTracks) {
      const info = actions.state.source.info.tracks[Number(bird[1]) - 1 + (e.shiftKey ? 9 : 0)];
      if (info) actions.setBird(info.bird);
      return e.preventDefault();
    }
    const key = e.key.length === 1 && !e.shiftKey ? e.key.toLowerCase() : e.key;
    const name = `${isMod ? 'Mod+' : ''}${e.shiftKey ? 'Shift+' : ''}${key}`;
    const rule = KEY_RULES.find((r) => r.keys.includes(name)) ?? (isMod ? undefined : KEY_RULES.find((r) => r.keys.includes(key) && !r.keys.some((k) => k.startsWith('Shift+')) && /^[^a-z]$/i.test(key)));
    if (!rule || (!app.isOnTracks && rule.group !== 'View')) return;
    e.preventDefault();
    rule.run(actions, app);
  });
}

/** The help as a dialogue. */
export function buildHelp(): HTMLDialogElement {
  const groups = ['Move', 'Listen', 'Judge', 'Change', 'View'] as const;
  const dialog = h('dialog', { class: 'help', 'aria-labelledby': 'help-title' });
  const close = h('button', { class: 'quiet', onclick: () => dialog.close() }, 'Close');
  const columns = groups.map((group) => h('section', {}, h('h3', {}, group), h('dl', {},
    ...KEY_RULES.filter((r) => r.group === group).map((r) => h('div', {}, h('dt', {}, ...r.shown.split(' ').map((k) => h('kbd', {}, k))), h('dd', {}, r.text))))));
  dialog.append(
    h('header', {}, h('h2', { id: 'help-title' }, 'Keys'), close), h('div', { class: 'columns' }, ...columns),
    h('p', { class: 'soft' }, 'With the pointer: the wheel zooms, with Shift it moves; drag moves; a click selects, a double click plays; edges of the selected call can be dragged; Alt and drag draws a new call.'),
  );
  return dialog;
}
