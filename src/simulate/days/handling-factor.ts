import type { EffectKind, FullDays, HandlingEffect } from './days.js';

const DAY_SEC = 86400;

/** What is left of a handling after some days: factor on a rate. */
export function computeFactor(effect: HandlingEffect, what: 'calls' | 'body', daysSince: number): number {
  if (daysSince < 0 || daysSince >= effect.days) return 1;
  return 1 + (effect[what] - 1) * (effect.shape === 'step' ? 1 : 1 - daysSince / effect.days);
}

/** Factor on a bird's rate at a moment from all that was done to it. */
export function handlingFactor(days: FullDays, bird: string, what: 'calls' | 'body', tSec: number): number {
  let factor = 1;
  for (const h of days.handling) {
    if (h.what === 'removed' || (h.bird !== '' && h.bird !== bird)) continue;
    factor *= computeFactor(days.effects[h.what], what, tSec / DAY_SEC - h.day);
  }
  return factor;
}

/**
 * Mean factor of each day after a handling, until nothing is left, each moment with its share of the day's calling: what an analysis should find.
 * @param weigh rate of an undisturbed bird, in days since the handling
 */
export function listDayFactors(effect: HandlingEffect, what: 'calls' | 'body', weigh: (daysSince: number) => number = () => 1): number[] {
  const steps = 1440;
  return Array.from({ length: Math.ceil(effect.days) + 1 }, (_, day) => {
    let sum = 0;
    let weights = 0;
    for (let k = 0; k < steps; k++) {
      const since = day + (k + 0.5) / steps;
      const weight = weigh(since);
      sum += weight * computeFactor(effect, what, since);
      weights += weight;
    }
    return Number((sum / weights).toFixed(4));
  });
}

/** Spans in which a bird wears no tag, in seconds. */
export function listUntagged(days: FullDays, bird: string): [number, number][] {
  const spans: [number, number][] = [];
  const own = days.handling.filter((h) => h.bird === '' || h.bird === bird).sort((a, b) => a.day - b.day);
  const first = own[0];
  if (first?.what === 'fitted' && first.day > 0) spans.push([0, first.day * DAY_SEC]);
  own.forEach((h, n) => {
    if (h.what === 'removed') spans.push([h.day * DAY_SEC, (own.slice(n + 1).find((o) => o.what === 'fitted')?.day ?? days.days) * DAY_SEC]);
  });
  return spans;
}

export const EFFECT_KINDS: readonly EffectKind[] = ['fitted', 'battery', 'other'];
