import { expect, it } from 'vitest';
import { collectGarbage } from '../../src/node/collect-garbage.js';

it('what nobody holds any more is given back at once, and what is held stays', async () => {
  const kept = { values: new Float64Array(1000) };
  const makeLeft = (): WeakRef<object> => new WeakRef({ values: new Float64Array(1000) });
  const left = makeLeft(), held = new WeakRef(kept);
  // Until the job that made a reference ends, its target is held.
  await new Promise((resolve) => { setImmediate(resolve); });
  collectGarbage();
  expect(left.deref()).toBeUndefined();
  expect(held.deref()).toBe(kept);
});
