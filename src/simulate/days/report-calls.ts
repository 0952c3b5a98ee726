import type { CallRow } from '../../schema/rows.js';
import { formatUtc } from '../../table/utc-time.js';
import { Random } from '../random.js';
import type { FullDays } from './days.js';
import type { TrueCall } from './draw-calls.js';
import { listUntagged } from './handling-factor.js';

export type Span = readonly [startSec: number, endSec: number];

/** Share of the calls of a bird whose link is down that are found through other tags. */
const FOUND_WITHOUT_LINK = 0.3;
/** A call that is given to the wrong bird may also become one of a bird without a tag. */
const WRONG_IS_UNTAGGED = 0.2;

/**
 * The call table that an attribution with known faults would give: calls missed, calls given to the wrong bird with calibrated
 * probabilities and the true bird as runner-up, second rows for one sound.
 */
export function reportCalls(days: FullDays, calls: readonly TrueCall[], lost: ReadonlyMap<string, readonly Span[]>, random: Random): CallRow[] {
  const birds = days.birds.map((b) => b.name);
  const bare = new Map(birds.map((bird) => [bird, listUntagged(days, bird)]));
  const rows: CallRow[] = [];
  for (const call of calls) {
    const isDown = contains(lost.get(call.bird), call.onsetSec) || contains(bare.get(call.bird), call.onsetSec);
    const draw = drawOutcome(days, random);
    if (random.chance(isDown ? 1 - FOUND_WITHOUT_LINK : days.attribution.missed)) continue;
    const others = birds.filter((b) => b !== call.bird);
    const other = random.chance(WRONG_IS_UNTAGGED) && call.bird !== 'none' ? 'none' : random.pick(others);
    const [bird, runnerUp] = draw.isRight ? [call.bird, other] : [other, call.bird];
    const rest = 1 - draw.probability;
    const row = makeRow(call, bird, draw.probability, isDown || bird === 'none' ? random.pick(others) : bird, random);
    rows.push({ ...row, runnerUp, runnerUpProbability: round(rest * (draw.isRight ? 0.6 : 0.8), 4) });
    if (random.chance(days.attribution.ghosts)) {
      const probability = random.range(0.1, 0.5);
      rows.push({ ...makeRow(call, other === 'none' ? random.pick(others) : other, probability, other, random), runnerUp: call.bird, runnerUpProbability: round(0.8 * (1 - probability), 4) });
    }
  }
  return finish(rows, days);
}

/** A probability, and whether the row is right, with just that probability; on average the share `wrong` is not. */
function drawOutcome(days: FullDays, random: Random): { probability: number; isRight: boolean } {
  const doubt = Math.min(0.5, random.wait(days.attribution.wrong));
  const probability = round(1 - doubt, 4);
  return { probability, isRight: random.chance(probability) };
}

function makeRow(call: TrueCall, bird: string, probability: number, track: string, random: Random): CallRow {
  const onsetSec = call.onsetSec + 0.001 * random.gauss();
  const levelDb = -25 + 4 * random.gauss();
  return {
    callId: 0, bird, onsetSec: Math.max(0, onsetSec), offsetSec: Math.max(0, onsetSec) + Math.max(0.01, call.offsetSec - call.onsetSec), onsetUtc: '', probability: round(probability, 4),
    track, levelDb, snrDb: levelDb + 60, peakHz: random.range(2500, 4500), overlaps: 0, runnerUp: '', runnerUpProbability: NaN,
  };
}

function finish(rows: CallRow[], days: FullDays): CallRow[] {
  rows.sort((a, b) => a.onsetSec - b.onsetSec);
  rows.forEach((row, n) => {
    row.callId = n + 1;
    row.onsetUtc = formatUtc(days.start, row.onsetSec);
    for (let m = n + 1; m < rows.length && rows[m].onsetSec < row.offsetSec; m++) {
      row.overlaps++;
      rows[m].overlaps++;
    }
  });
  return rows;
}

function contains(spans: readonly Span[] | undefined, tSec: number): boolean {
  return spans?.some(([from, to]) => tSec >= from && tSec < to) ?? false;
}

function round(value: number, decimals: number): number {
  return Number(value.toFixed(decimals));
}
