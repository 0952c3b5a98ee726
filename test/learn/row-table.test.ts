import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, it } from 'vitest';
// @ts-expect-error plain JavaScript
import { RowTable } from '../../bench/learn/row-table.mjs';

it.each([0, 1, 4095, 4096, 4097, 9000])('%i rows to fit to are in the files as they came', (count) => {
  const width = 3, table = new RowTable(width);
  try {
    for (let n = 0; n < count; n++) table.add(Float64Array.of(n, -n, 1 / (n + 1)), n % 2, n % 7, n % 3);
    table.finish();
    const read = (name: string) => Uint8Array.from(readFileSync(join(table.folder, name)));
    expect(new Float32Array(read('rows.f32').buffer)).toEqual(Float32Array.from({ length: count * width }, (_, i) => [Math.floor(i / 3), -Math.floor(i / 3), 1 / (Math.floor(i / 3) + 1)][i % 3]));
    expect(read('labels.u8')).toEqual(Uint8Array.from({ length: count }, (_, n) => n % 2));
    expect(new Float32Array(read('weights.f32').buffer)).toEqual(Float32Array.from({ length: count }, (_, n) => n % 7));
    expect(read('folds.u8')).toEqual(Uint8Array.from({ length: count }, (_, n) => n % 3));
  } finally {
    table.remove();
  }
  expect(existsSync(table.folder)).toBe(false);
});
