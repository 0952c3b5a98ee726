import { RandomWords } from '../../src/score/random.js';
import type { ReportedCall } from '../../src/score/types.js';
import type { LabelRow } from '../../src/schema/rows.js';

export interface RandomTables {
  calls: ReportedCall[];
  labels: LabelRow[];
}

/** Crowded random tables with misses, inventions, wrong birds and shifted times. Times are whole milliseconds. */
export function makeRandomTables(seed: number, labelCount: number, spanSec: number): RandomTables {
  const random = new RandomWords(seed);
  const birds = ['A', 'B', 'C', 'none'];
  const ms = (limit: number): number => random.nextBelow(limit) / 1000;
  const labels: LabelRow[] = [];
  const calls: ReportedCall[] = [];
  const report = (bird: string, onsetSec: number, durationSec: number): void => {
    const at = Math.round(1000 * onsetSec) / 1000;
    calls.push({ bird, onsetSec: at, offsetSec: Math.round(1000 * (at + durationSec)) / 1000, probability: random.nextBelow(101) / 100 });
  };
  for (let i = 0; i < labelCount; i++) {
    const bird = birds[random.nextBelow(birds.length)];
    const onsetSec = ms(Math.round(1000 * spanSec));
    const durationSec = 0.03 + ms(200);
    const snrDb = random.nextBelow(50) - 5;
    labels.push({
      bird, onsetSec, offsetSec: Math.round(1000 * (onsetSec + durationSec)) / 1000,
      extra: { snr_db: String(snrDb), overlap: String(random.nextBelow(2)), near_m: String(ms(1500)), lost: random.nextBelow(9) ? '' : '1' },
    });
    if (random.nextBelow(6) > 0) {
      const reported = random.nextBelow(8) > 0 ? bird : birds[random.nextBelow(birds.length)];
      report(reported, onsetSec + ms(90) - 0.045, durationSec + ms(40) - 0.02);
    }
    if (random.nextBelow(8) === 0) report(birds[random.nextBelow(birds.length)], onsetSec + ms(60), 0.05 + ms(100));
    if (random.nextBelow(10) === 0) report(birds[random.nextBelow(birds.length)], ms(Math.round(1000 * spanSec)), 0.1);
  }
  return { calls, labels };
}

/** The rows in another order. */
export function shuffle<T>(rows: readonly T[], seed: number): T[] {
  const random = new RandomWords(seed);
  const out = [...rows];
  for (let i = out.length - 1; i > 0; i--) {
    const j = random.nextBelow(i + 1);
    [out[i], out[j]] = [out[j], out[i]];
  }
  return out;
}
