import { describe, expect, it } from 'vitest';
import { mergeTrains } from '../../../src/analysis/network/explaining-calls.js';
import { countReplies, findFirstReplies, splitByBlocks } from '../../../src/analysis/network/replies.js';
import { RowBuilder } from '../../../src/analysis/network/row-builder.js';
import { Dice } from './simulate-calls.js';

describe('rows of a regression', () => {
  it.each([0, 1, 4096, 4097, 30_000])('%i rows come out as they were put in, without zeros', (count) => {
    const builder = new RowBuilder();
    const plain = { start: [0], index: [] as number[], value: [] as number[], outcome: [] as number[], offset: [] as number[], cluster: [] as number[] };
    const dice = new Dice(1);
    for (let r = 0; r < count; r++) {
      for (let k = 0; k < 7; k++) {
        const value = dice.unit() < 0.4 ? 0 : dice.unit();
        builder.put(k, value);
        if (value !== 0) { plain.index.push(k); plain.value.push(value); }
      }
      builder.finishRow(r % 2, -r / 7, Math.floor(r / 100));
      plain.start.push(plain.index.length);
      plain.outcome.push(r % 2);
      plain.offset.push(-r / 7);
      plain.cluster.push(Math.floor(r / 100));
    }
    const rows = builder.finish(7);
    for (const key of ['start', 'index', 'value', 'outcome', 'offset', 'cluster'] as const) expect(Array.from(rows[key])).toEqual(plain[key]);
  });
});

it('trains of several birds are merged in order of time, each weight with its call', () => {
  const dice = new Dice(2);
  const trains = [5, 0, 70, 3, 9].map((size) => {
    const onsetSec = Float64Array.from({ length: size }, () => Math.floor(300 * dice.unit()) / 10).sort();
    return { bird: 'x', onsetSec, weight: onsetSec.map((t) => t + dice.unit() / 1000) };
  });
  const merged = mergeTrains(trains);
  expect(Array.from(merged.onsetSec)).toEqual(trains.flatMap((t) => Array.from(t.onsetSec)).sort((a, b) => a - b));
  expect(Array.from(merged.weight).sort((a, b) => a - b)).toEqual(trains.flatMap((t) => Array.from(t.weight)).sort((a, b) => a - b));
  expect(merged.onsetSec.every((t, i) => Math.abs(merged.weight[i] - t) <= 1e-3)).toBe(true);
  expect(mergeTrains([]).onsetSec).toHaveLength(0);
});

it('replies counted block by block are those found one by one, on the edges of the window too', () => {
  const dice = new Dice(3);
  const draw = (size: number): Float64Array => Float64Array.from({ length: size }, () => Math.round(20_000 * dice.unit()) / 100).sort();
  const blocks = [{ startSec: 0, endSec: 60 }, { startSec: 60, endSec: 100 }, { startSec: 110, endSec: 200 }];
  const caller = splitByBlocks(draw(400), blocks);
  const replier = splitByBlocks(draw(300), blocks);
  const latency = findFirstReplies(caller.onsets, replier.onsets, 0.05, 0.5);
  const perBlock = blocks.map((_, k) => latency.subarray(caller.first[k], caller.first[k + 1]).filter((x) => !Number.isNaN(x)).length);
  expect(Array.from(countReplies(caller, replier, 0.05, 0.5))).toEqual(perBlock);
  // Onsets are whole hundredths: a lag of 0.05 is in, one of 0.5 is out.
  const inside = Array.from(latency).filter((x) => !Number.isNaN(x));
  expect([Math.min(...inside), Math.max(...inside)]).toEqual([0.05, 0.49]);
});
