interface Window { bird: string; startSec: number; endSec: number }

/** Records of runs hold rounded numbers. */
const NEAR_SEC = 0.01;

/** Whether two lists leave out the same time of the same birds, whatever their order and reasons. */
export function areSameWindows(a: readonly Window[], b: readonly Window[]): boolean {
  if (a.length !== b.length) return false;
  const [left, right] = [a, b].map((list) => [...list].sort(compare));
  return left.every((w, i) => w.bird === right[i].bird && Math.abs(w.startSec - right[i].startSec) <= NEAR_SEC && Math.abs(w.endSec - right[i].endSec) <= NEAR_SEC);
}

function compare(a: Window, b: Window): number {
  return (a.bird < b.bird ? -1 : a.bird > b.bird ? 1 : 0) || a.startSec - b.startSec || a.endSec - b.endSec;
}
