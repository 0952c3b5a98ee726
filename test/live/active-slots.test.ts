import { describe, expect, it } from 'vitest';
import { ActiveSlots } from '../../src/live/active-slots.js';

function makeSlots(bits: string, halo = 1, kept = 100): ActiveSlots {
  const slots = new ActiveSlots({ firstSlot: 10, bits: new Uint8Array(0) }, kept, halo);
  for (let k = 0; k < bits.length; k += 3) slots.push(Uint8Array.from(bits.slice(k, k + 3), Number));
  return slots;
}

describe('slots that may hold more than noise', () => {
  //         slot 10        20        30
  const bits = '000010000000110111111000';

  it('widens by the halo', () => {
    const slots = makeSlots(bits);
    const active = Array.from({ length: 24 }, (_, k) => (slots.isActive(10 + k) ? 1 : 0)).join('');
    expect(active).toBe('000111000001111111111100');
    expect([slots.isActive(9), slots.isActive(34)]).toEqual([false, false]);
  });

  it('finds what a stretch is the end of and how it goes on', () => {
    const slots = makeSlots(bits);
    expect(slots.findStretch(10, 12, 5)).toBeUndefined();
    expect(slots.findStretch(10, 15, 5)).toEqual([13, 16]);
    expect(slots.findStretch(26, 28, 5)).toEqual([21, 32]);
    expect(slots.findStretch(26, 28, 3)).toEqual([23, 32]);
    expect(slots.findStretch(14, 34, 5)).toEqual([13, 32]);
  });

  it('finds the last quiet slot and forgets what is old', () => {
    expect(makeSlots(bits).findQuiet(28)).toBe(21);
    expect(makeSlots(bits).findQuiet(21)).toBe(21);
    const short = makeSlots(bits, 1, 6);
    expect([short.isActive(27), short.findQuiet(31), short.findQuiet(33)]).toEqual([true, undefined, 33]);
  });
});
