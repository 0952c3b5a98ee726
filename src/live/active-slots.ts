/** Which of the newest slots may hold more than noise; the rest is forgotten. */
export interface SlotState {
  firstSlot: number;
  bits: Uint8Array;
}

export class ActiveSlots {
  constructor(private readonly state: SlotState, private readonly keptSlots: number, private readonly haloSlots: number) {}

  get endSlot(): number { return this.state.firstSlot + this.state.bits.length; }

  /** Appends what was found about the slots that follow. */
  push(active: Uint8Array): void {
    const { state } = this;
    const all = new Uint8Array(state.bits.length + active.length);
    all.set(state.bits);
    all.set(active, state.bits.length);
    const drop = Math.max(0, all.length - this.keptSlots);
    state.bits = all.slice(drop);
    state.firstSlot += drop;
  }

  /** Whether a slot, or one within the halo around it, is active; slots that were forgotten or never seen are not. */
  isActive(slot: number): boolean {
    const { firstSlot, bits } = this.state;
    for (let s = Math.max(0, slot - this.haloSlots - firstSlot); s <= Math.min(bits.length - 1, slot + this.haloSlots - firstSlot); s++) if (bits[s]) return true;
    return false;
  }

  /**
   * The stretch to look at for sounds that end in slots [from, to): what is active there, with what it is the end of (at most `contextSlots` before
   * `from`) and how it goes on (to the end of what is known). Undefined where all is quiet.
   */
  findStretch(from: number, to: number, contextSlots: number): [number, number] | undefined {
    let first = from;
    while (first < to && !this.isActive(first)) first++;
    if (first >= to) return undefined;
    if (first === from) while (first > from - contextSlots && this.isActive(first - 1)) first--;
    let end = to;
    while (end < this.endSlot && this.isActive(end)) end++;
    while (!this.isActive(end - 1)) end--;
    return [Math.max(0, first), end];
  }

  /** End of the last quiet slot before `slot`, undefined where none is known. */
  findQuiet(slot: number): number | undefined {
    for (let s = slot - 1; s >= this.state.firstSlot; s--) if (!this.isActive(s)) return s + 1;
    return undefined;
  }

  save(): SlotState { return this.state; }
}
