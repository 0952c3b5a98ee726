export type EffectKind = 'fitted' | 'battery' | 'other';

export interface HandlingEffect { calls: number; body: number; days: number; shape: 'linear' | 'step' }

export interface DaysPair { caller: string; replier: string; probability: number; latencySec: number; spread: number }

/** An invented study of several days with every default filled in. */
export interface FullDays {
  name: string;
  start: string;
  days: number;
  lightHours: [number, number];
  birds: { name: string; callsPerHour: number; songsPerHour: number; bodyPerHour: number }[];
  untaggedPerHour: number;
  pairs: DaysPair[];
  handling: { bird: string; day: number; what: EffectKind | 'removed' }[];
  effects: Record<EffectKind, HandlingEffect>;
  scatter: { hourly: number; daily: number; sharedHourly: number };
  attribution: { missed: number; wrong: number; ghosts: number };
  links: { lostPerDay: number; lostMeanSec: number };
}

type Optional<T> = { [K in keyof T]?: T[K] extends readonly unknown[] | string | number ? T[K] : Optional<T[K]> };

/** As a person writes it: what is left out has a default. */
export type Days = Omit<Optional<FullDays>, 'birds' | 'pairs' | 'handling'> & {
  birds: ({ name: string } & Partial<FullDays['birds'][number]>)[];
  pairs?: ({ caller: string; replier: string } & Partial<DaysPair>)[];
  handling?: { bird?: string; day: number; what: EffectKind | 'removed' }[];
};
