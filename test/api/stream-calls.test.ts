import { describe, expect, it } from 'vitest';
import { streamCalls } from '../../src/api/stream-calls.js';
import type { AttributeResult } from '../../src/api/attribute-opened.js';
import type { StreamOptions } from '../../src/api/stream-calls.js';
import type { CallBlock } from '../../src/pipeline/attribute-study.js';

const pause = (): Promise<void> => new Promise((resolve) => { setImmediate(resolve); });
const RESULT = { calls: [] } as unknown as AttributeResult;
const block = (n: number): CallBlock => ({ fromSec: n, toSec: n + 1, calls: [] });

/** An attribution that decides some blocks, one at a time, and heeds its signal. */
function makeWork(count: number, failAt = Infinity): { start: (o: StreamOptions) => Promise<AttributeResult>; state: { decided: number; ended: boolean } } {
  const state = { decided: 0, ended: false };
  return {
    state,
    start: async ({ onCalls, signal }) => {
      try {
        for (let n = 0; n < count; n++) {
          await pause();
          if (signal.aborted) throw new Error('interrupted');
          if (n === failAt) throw new Error('the disk is gone');
          state.decided++;
          onCalls(block(n));
        }
        return RESULT;
      } finally {
        await pause();
        state.ended = true;
      }
    },
  };
}

async function read(stream: AsyncGenerator<CallBlock, AttributeResult>, slow = false): Promise<{ blocks: number[]; result: AttributeResult }> {
  const blocks: number[] = [];
  for (;;) {
    const step = await stream.next();
    if (step.done) return { blocks, result: step.value };
    blocks.push(step.value.fromSec);
    if (slow) for (let k = 0; k < 5; k++) await pause();
  }
}

describe('streamCalls', () => {
  it.each([[0, false], [1, false], [7, false], [7, true]])('gives all of %i blocks in order, and the result (slow reader: %s)', async (count, slow) => {
    const { start } = makeWork(count);
    expect(await read(streamCalls(start), slow)).toEqual({ blocks: Array.from({ length: count }, (_, n) => n), result: RESULT });
  });

  it('gives blocks that are decided at once, before anybody waits', async () => {
    expect((await read(streamCalls(async ({ onCalls }) => { for (let n = 0; n < 5; n++) onCalls(block(n)); return RESULT; }))).blocks).toEqual([0, 1, 2, 3, 4]);
  });

  it('does not start before it is read, and passes a failure on after the blocks before it', async () => {
    const { start, state } = makeWork(9, 3);
    const stream = streamCalls(start);
    await pause();
    expect(state.decided).toBe(0);
    const seen: number[] = [];
    await expect((async () => { for await (const { fromSec } of stream) seen.push(fromSec); })()).rejects.toThrow('the disk is gone');
    expect(seen).toEqual([0, 1, 2]);
  });

  it('stops the work when the loop is left, and waits until it has closed its files', async () => {
    const { start, state } = makeWork(1000);
    for await (const { fromSec } of streamCalls(start)) if (fromSec === 2) break;
    expect(state.ended).toBe(true);
    expect(state.decided).toBeLessThan(10);
  });

  it('stops from outside, before it begins and on the way', async () => {
    for (const isEarly of [true, false]) {
      const { start, state } = makeWork(1000);
      const controller = new AbortController();
      if (isEarly) controller.abort();
      const seen: number[] = [];
      const reading = (async () => { for await (const { fromSec } of streamCalls(start, controller.signal)) { seen.push(fromSec); controller.abort(); } })();
      await expect(reading).rejects.toThrow('interrupted');
      expect([state.ended, state.decided < 5]).toEqual([true, true]);
    }
  });
});
