import { RandomWords } from '../../numeric/random-words.js';
import { sortedQuantile } from '../../numeric/quantile.js';
import type { CallRow } from '../../schema/rows.js';
import { seedOf, sumReplies } from './measure-pair.js';
import type { PairMeasure } from './measure-pair.js';
import { drawTrains, listCallerChances, sumRunnersUp } from './trains.js';
import type { Pair } from './trains.js';
import type { Interval, NetworkSettings, Train } from './types.js';

/** What attribution errors and chance leave of the excess of a pair. */
export interface ExcessRange {
  /** 95 % interval of the excess (boundExcess): calls drawn by probability, blocks of time drawn with replacement. */
  low: number;
  high: number;
  /** Excess that calls given to the wrong bird could feign, to first order. */
  leak: number;
}

/** Cumulative chances of 0, 1, 2 ... of a Poisson variable of mean 1: how often a block comes up when as many are drawn as there are. */
const POISSON_ONE = [0.36787944117144233, 0.7357588823428847, 0.9196986029286058, 0.9810118431238462, 0.9963401531726563, 0.9994058151824183, 0.999916758850712, 0.9999897508033253];

/**
 * Interval of the excess of every pair: each draw gives every call to its bird or its runner-up by their probabilities and draws blocks of time
 * anew (Poisson bootstrap).
 */
export function propagateErrors(
  calls: readonly CallRow[], trains: readonly Train[], pairs: readonly Pair[], measures: readonly PairMeasure[],
  observed: ReadonlyMap<string, readonly Interval[]>, settings: NetworkSettings, onDraw?: () => void,
): ExcessRange[] {
  const birds = trains.map((t) => t.bird);
  const sure = calls.filter((c) => c.probability >= settings.threshold);
  const chances = listCallerChances(sure, birds);
  const draws = pairs.map(() => [] as number[]);
  const lastBlock = Math.ceil((sure[sure.length - 1]?.onsetSec ?? 0) / settings.blockSec) + 1;
  for (let r = 0; r < settings.draws; r++) {
    const random = new RandomWords(seedOf(settings.seed + 1, r));
    const drawn = drawTrains(chances, birds, observed, random);
    const weights = Uint8Array.from({ length: lastBlock + 1 }, () => drawPoissonOne(random));
    const weightOf = (block: Interval): number => weights[Math.min(lastBlock, Math.floor(block.startSec / settings.blockSec))];
    pairs.forEach((pair, k) => {
      const { calls: n, replies, chance } = sumReplies(drawn[pair.caller].onsetSec, drawn[pair.replier].onsetSec, pair.blocks, settings, weightOf);
      if (n > 0) draws[k].push(measures[k].excess + widen(measures[k], settings) * ((replies - chance) / n - overShift(measures[k])));
    });
    onDraw?.();
  }
  const leaks = measureLeaks(sure, trains, pairs, measures, settings);
  return draws.map((d, k) => ({ ...boundExcess(measures[k].excess, d), leak: leaks[k] }));
}

/**
 * 95 % interval round an excess. The draws give calls away once more that may already be another bird's, so on the mean they lie off the excess by about
 * as much as the excess lies off what it would be with every call given rightly (the bias that a bootstrap takes off: Davison and Hinkley 1997, Bootstrap
 * Methods and their Application, section 2.1; for classes mistaken with known probabilities, Kuechenhoff, Mwalili and Lesaffre 2006, Biometrics 62:85-96).
 * How much of it is there is only as certain as the probabilities are: rows that are righter than they claim owe nothing. So the scatter of the draws
 * round their own mean is laid round the excess, and the end that lies against the bias is moved by all of it: the interval holds the excess, and what
 * it may be once corrected. Joining the two is common practice, no source.
 * @param draws the excess in each draw
 */
export function boundExcess(excess: number, draws: readonly number[]): { low: number; high: number } {
  if (draws.length === 0) return { low: NaN, high: NaN };
  const sorted = [...draws].sort((a, b) => a - b);
  const mean = sorted.reduce((s, x) => s + x, 0) / sorted.length;
  const bias = mean - excess;
  return { low: excess + sortedQuantile(sorted, 0.025) - mean - Math.max(0, bias), high: excess + sortedQuantile(sorted, 0.975) - mean - Math.min(0, bias) };
}

function overShift(m: PairMeasure): number {
  return m.replyProbability - m.chanceShift;
}

/**
 * Draws tell how the replies over the chance by shifts scatter. Where the excess is over the chance by jitters, which is too dear to find in every
 * draw, it scatters more: by 1 / (1 - f) for the true replies taken out (f = width of the window / length of a cell), and by sqrt(1 + f) because that
 * chance is itself a count, of pairs in a stretch 1 / f times as long.
 */
function widen(m: PairMeasure, settings: NetworkSettings): number {
  const share = (settings.toSec - settings.fromSec) / settings.jitterSec;
  return m.excess < overShift(m) ? Math.sqrt(1 + share) / (1 - share) : 1;
}

function drawPoissonOne(random: RandomWords): number {
  const u = random.nextUnit();
  const k = POISSON_ONE.findIndex((c) => u < c);
  return k < 0 ? POISSON_ONE.length : k;
}

/**
 * Excess that a pair could owe to confusion alone: calls of the caller that are another bird's bring along the replies that bird gets, calls of the
 * replier that are another bird's bring along its replies. The other may be the partner itself, whose own bouts then look like an exchange.
 */
function measureLeaks(sure: readonly CallRow[], trains: readonly Train[], pairs: readonly Pair[], measures: readonly PairMeasure[], settings: NetworkSettings): number[] {
  const runnersUp = sumRunnersUp(sure, settings.threshold);
  const excess = new Map(measures.map((m) => [`${m.caller}\n${m.replier}`, Math.max(0, m.excess || 0)]));
  const count = new Map(trains.map((t) => [t.bird, t.onsetSec.length]));
  for (const pair of pairs) {
    const { bird, onsetSec } = trains[pair.caller];
    const key = `${bird}\n${bird}`;
    if (excess.has(key)) continue;
    const own = sumReplies(onsetSec, onsetSec, pair.blocks, settings, () => 1);
    excess.set(key, own.calls > 0 ? Math.max(0, (own.replies - own.chance) / own.calls) : 0);
  }
  const excessOf = (a: string, b: string): number => excess.get(`${a}\n${b}`) ?? 0;
  return measures.map(({ caller, replier }) => {
    let leak = 0;
    for (const [other, sum] of runnersUp.get(caller) ?? []) leak += (sum / count.get(caller)!) * excessOf(other, replier);
    for (const [other, sum] of runnersUp.get(replier) ?? []) if (count.get(other)) leak += (sum / count.get(other)!) * excessOf(caller, other);
    return leak;
  });
}
