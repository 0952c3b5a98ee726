import { Random } from '../random.js';
import type { FullDays } from './days.js';
import { EFFECT_KINDS, handlingFactor } from './handling-factor.js';

const HOUR_SEC = 3600;
const DAY_SEC = 86400;

/** What really happened. */
export interface TrueCall {
  bird: string;
  onsetSec: number;
  offsetSec: number;
  isSong: boolean;
  /** Bird that this call answers, '' for a call of its own accord. */
  replyTo: string;
}

/** Factor on every rate by the hour of the day: a peak after dawn, a lower one before dusk, mean 1 over the hours of light, 0 at night. */
export class Rhythm {
  private readonly scale: number;
  private readonly shiftSec: number;
  /** No moment has more. */
  readonly largest: number;

  constructor(private readonly light: readonly [number, number], start: string) {
    this.shiftSec = (Date.parse(start) / 1000) % DAY_SEC;
    let sum = 0;
    for (let k = 0; k < 1000; k++) sum += this.shape(light[0] + ((light[1] - light[0]) * (k + 0.5)) / 1000);
    this.scale = 1000 / sum;
    this.largest = 2.5 * this.scale;
  }

  compute(tSec: number): number {
    const hour = ((tSec + this.shiftSec) % DAY_SEC) / HOUR_SEC;
    return hour < this.light[0] || hour >= this.light[1] ? 0 : this.scale * this.shape(hour);
  }

  private shape(hour: number): number {
    return 1 + Math.exp(-(((hour - this.light[0] - 1.5) / 1.5) ** 2)) + 0.5 * Math.exp(-(((this.light[1] - 1.5 - hour) / 1.5) ** 2));
  }
}

/** Rates that move from hour to hour and from day to day, for one bird or for all at once. Log-normal with mean 1. */
class Scatter {
  private readonly hours: Float64Array;
  private readonly days: Float64Array;

  constructor(random: Random, lengthDays: number, hourly: number, daily: number) {
    const draw = (n: number, sd: number): Float64Array => Float64Array.from({ length: n }, () => Math.exp(sd * random.gauss() - 0.5 * sd * sd));
    this.hours = draw(Math.ceil(lengthDays * 24) + 1, hourly);
    this.days = draw(Math.ceil(lengthDays) + 1, daily);
  }

  compute(tSec: number): number {
    return this.hours[Math.floor(tSec / HOUR_SEC)] * this.days[Math.floor(tSec / DAY_SEC)];
  }

  get largest(): number { return Math.max(...this.hours) * Math.max(...this.days); }
}

/** Draws every call, song and reply of the study, in order of onset, and the body noise of every bird. */
export function drawCalls(days: FullDays, seed: number): { calls: TrueCall[]; body: { bird: string; onsetSec: number; offsetSec: number }[] } {
  const root = new Random(seed);
  const rhythm = new Rhythm(days.lightHours, days.start);
  const endSec = days.days * DAY_SEC;
  const shared = new Scatter(root.fork('shared'), days.days, days.scatter.sharedHourly, 0);
  const queue: TrueCall[] = [];
  const body: { bird: string; onsetSec: number; offsetSec: number }[] = [];
  for (const bird of [...days.birds, { name: 'none', callsPerHour: days.untaggedPerHour, songsPerHour: 0, bodyPerHour: 0 }]) {
    const random = root.fork(`bird ${bird.name}`);
    const own = new Scatter(random.fork('scatter'), days.days, days.scatter.hourly, days.scatter.daily);
    const most = rhythm.largest * own.largest * shared.largest;
    const draw = (label: string, perHour: number, what: 'calls' | 'body', add: (t: number, r: Random) => void): void => {
      const stream = random.fork(label);
      // Thinning: more than any moment needs is drawn, then each is kept with its share (Lewis & Shedler 1979).
      const largest = most * Math.max(1, ...EFFECT_KINDS.map((kind) => days.effects[kind][what])) ** 2;
      const bound = (perHour / HOUR_SEC) * largest;
      if (bound <= 0) return;
      for (let t = stream.wait(1 / bound); t < endSec; t += stream.wait(1 / bound)) {
        const factor = rhythm.compute(t) * own.compute(t) * shared.compute(t);
        const level = stream.next() * largest;
        if (factor > 0 && level < factor * handlingFactor(days, bird.name, what, t)) add(t, stream);
      }
    };
    draw('calls', bird.callsPerHour, 'calls', (t, r) => queue.push({ bird: bird.name, onsetSec: t, offsetSec: t + drawLength(r), isSong: false, replyTo: '' }));
    draw('song', bird.songsPerHour, 'calls', (t, r) => queue.push(...drawSong(bird.name, t, r)));
    draw('body', bird.bodyPerHour, 'body', (t, r) => body.push({ bird: bird.name, onsetSec: t, offsetSec: t + r.logRange(0.05, 1) }));
  }
  body.sort((a, b) => a.onsetSec - b.onsetSec);
  return { calls: addReplies(days, queue, root.fork('replies'), endSec), body };
}

function drawLength(random: Random): number {
  return 0.08 * Math.exp(0.3 * random.gauss());
}

function drawSong(bird: string, fromSec: number, random: Random): TrueCall[] {
  let t = fromSec;
  return Array.from({ length: random.whole(4, 14) }, () => {
    const onsetSec = t;
    const offsetSec = onsetSec + drawLength(random);
    t = offsetSec + random.range(0.03, 0.09);
    return { bird, onsetSec, offsetSec, isSong: true, replyTo: '' };
  });
}

/**
 * Answers calls in order of time, replies too. A bird that is still calling, or sings, does not answer and does not call twice at once.
 */
function addReplies(days: FullDays, spontaneous: TrueCall[], random: Random, endSec: number): TrueCall[] {
  const toReply = new Map<string, FullDays['pairs']>();
  for (const p of days.pairs) toReply.set(p.caller, [...(toReply.get(p.caller) ?? []), p]);
  const planned = spontaneous.sort((a, b) => a.onsetSec - b.onsetSec);
  const replies: TrueCall[] = [];
  const out: TrueCall[] = [];
  const busyUntil = new Map<string, number>();
  for (let n = 0; n < planned.length || replies.length > 0;) {
    const isReply = replies.length > 0 && !(planned[n]?.onsetSec <= replies[0].onsetSec);
    const call = isReply ? replies.shift()! : planned[n++];
    if (call.onsetSec >= endSec || call.onsetSec < (busyUntil.get(call.bird) ?? 0)) continue;
    busyUntil.set(call.bird, call.offsetSec);
    out.push(call);
    if (call.isSong) continue;
    for (const pair of toReply.get(call.bird) ?? []) {
      if (!random.chance(Math.min(1, pair.probability * handlingFactor(days, pair.replier, 'calls', call.onsetSec)))) continue;
      const onsetSec = call.onsetSec + pair.latencySec * Math.exp(pair.spread * random.gauss());
      insert(replies, { bird: pair.replier, onsetSec, offsetSec: onsetSec + drawLength(random), isSong: false, replyTo: call.bird });
    }
  }
  return out;
}

/** Keeps the short list of replies to come in order. */
function insert(list: TrueCall[], call: TrueCall): void {
  let at = list.length;
  while (at > 0 && list[at - 1].onsetSec > call.onsetSec) at--;
  list.splice(at, 0, call);
}
