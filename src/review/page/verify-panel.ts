import type { Estimate } from '../../score/types.js';
import { idOfCall } from '../labels.js';
import type { Actions } from './actions.js';
import { fill, h } from './dom.js';
import type { Item, ReviewState } from './review-state.js';
import { formatShare } from './time-text.js';

/** The queue of drawn calls: one after the other, the table's answer hidden until the person has given theirs. */
export class VerifyPanel {
  readonly element = h('section', { class: 'verify', 'aria-label': 'Verify drawn calls', hidden: true });
  private isOn = false;
  private hidesAnswers = true;

  constructor(private readonly state: ReviewState, private readonly actions: Actions, private readonly onChange: () => void) {}

  hides(item: Item): boolean {
    return this.isOn && this.hidesAnswers && item.status === 'unheard' && this.isDrawn(item);
  }

  toggle(): void {
    this.isOn = !this.isOn;
    if (this.isOn && !this.state.source.sample.length) {
      this.isOn = false;
      return this.actions.say('The table has no call to verify.');
    }
    if (this.isOn) this.next();
  }

  toggleHidden(): void {
    this.hidesAnswers = !this.hidesAnswers;
    this.actions.say(this.hidesAnswers ? "The table's answer is hidden while verifying." : "The table's answer is shown while verifying.");
  }

  /** After an answer the next open call comes up by itself. */
  answered(item: Item): void {
    if (this.isOn && this.isDrawn(item) && item.status !== 'unheard') setTimeout(() => { if (this.isOn && this.state.selected?.id === item.id) this.next(); }, 650);
  }

  update(): void {
    this.element.hidden = !this.isOn;
    if (!this.isOn) return;
    const { heard, drawn, score } = this.state.estimate();
    const progress = h('progress', { max: drawn, value: heard, 'aria-label': 'calls heard' });
    fill(this.element,
      h('strong', {}, 'Verify'), progress, h('span', { class: 'num' }, `${heard} of ${drawn} heard`),
      h('span', { class: 'estimate' }, ...(score ? [
        'rows right ', h('b', {}, formatShare(score.right.value, 3)), ` ${describeInterval(score.right)} · other bird ${formatShare(score.otherBird.value, 3)} · no call ${formatShare(score.noCall.value, 3)} · the table claims ${formatShare(score.claimed, 3)}`,
      ] : ['Listen, then say who called: 1 … 9, 0 without a tag, X no call.'])),
      h('button', { class: 'quiet', 'aria-pressed': String(this.hidesAnswers), onclick: () => { this.toggleHidden(); this.onChange(); } }, 'Hide answers', h('kbd', { 'aria-hidden': 'true' }, 'H')),
      h('button', { class: 'quiet', onclick: () => this.next() }, 'Skip'),
      h('button', { class: 'quiet', onclick: () => { this.toggle(); this.onChange(); } }, 'Leave', h('kbd', { 'aria-hidden': 'true' }, 'Q')));
  }

  private isDrawn(item: Item): boolean {
    return this.state.source.sample.some((row) => idOfCall(row.callId) === item.id);
  }

  private next(): void {
    const { sample } = this.state.source;
    const here = sample.findIndex((row) => idOfCall(row.callId) === this.state.selected?.id);
    const order = [...sample.slice(here + 1), ...sample.slice(0, Math.max(0, here))];
    const open = order.map((row) => this.state.get(idOfCall(row.callId))).find((item) => item?.status === 'unheard');
    if (!open) return this.actions.say('All drawn calls are heard. volary score DIR --labels verified.csv tells the whole.');
    this.actions.select(open);
    this.actions.playSelected();
  }
}

/** An estimate's interval; undefined strata give none. */
export function describeInterval({ low, high }: Estimate): string {
  return low === null || high === null ? '(interval once every part has an answer)' : `(${formatShare(low, 3)} to ${formatShare(high, 3)})`;
}
