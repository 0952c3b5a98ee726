import { describe, expect, it } from 'vitest';
import { EditMemory, EditViews } from '../../src/parallel/edit-memory.js';
import type { Edit } from '../../src/separate/separate-piece.js';

function makeEdits(memory: EditMemory, lengths: readonly number[], value: number): Edit[] {
  return lengths.map((length, n) => ({ track: n % 3, startFrame: 100 * n, change: memory.take(length).fill(value + n) }));
}

describe('memory of edits that two threads share', () => {
  it('shows the other side what was written, also where a block takes more than a chunk', () => {
    const memory = new EditMemory(), views = new EditViews(), lengths = [5, 0, 600_000, 500_000, 3_000_000, 7];
    memory.begin([]);
    const edits = makeEdits(memory, lengths, 1), placed = memory.place(edits);
    expect(placed.fresh.length).toBe(placed.chunks.length);
    expect(placed.chunks.length).toBeGreaterThan(2);
    expect(views.open(placed).edits).toEqual(edits);
  });

  it('gives a chunk out again only when its block is released', () => {
    const memory = new EditMemory(), views = new EditViews(), open = (value: number) => {
      memory.begin(views.takeFreed());
      const placed = memory.place(makeEdits(memory, [1000, 2000], value));
      return { ...views.open(placed), placed };
    };
    const first = open(1), second = open(11);
    expect(first.edits[0].change[0]).toBe(1);
    expect(second.placed.fresh).toHaveLength(1);
    first.release!();
    const third = open(21);
    expect(third.placed.fresh).toEqual([]);
    expect(third.placed.chunks).toEqual(first.placed.chunks);
    expect([...second.edits[0].change, ...second.edits[1].change]).toEqual([...new Array(1000).fill(11), ...new Array(2000).fill(12)]);
    expect(third.edits[1].change[1999]).toBe(22);
    expect(views.takeFreed()).toEqual([]);
  });

  it('takes none for a block without edits, and a longer chunk where none that is free is long enough', () => {
    const memory = new EditMemory(), views = new EditViews();
    memory.begin([]);
    expect(memory.place([])).toEqual({ fresh: [], chunks: [], edits: [] });
    const short = views.open(memory.place(makeEdits(memory, [10], 1)));
    short.release!();
    memory.begin(views.takeFreed());
    const long = memory.place(makeEdits(memory, [2_000_000], 5));
    expect(long.fresh).toHaveLength(1);
    expect(views.open(long).edits[0].change).toHaveLength(2_000_000);
  });
});
