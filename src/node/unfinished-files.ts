import { unlinkSync } from 'node:fs';

const unfinished = new Set<string>();
let isWatching = false;

/** From now on a Ctrl-C removes this file: it is only half written. */
export function markUnfinished(path: string): void {
  unfinished.add(path);
  if (isWatching) return;
  isWatching = true;
  process.on('exit', () => {
    for (const left of unfinished) {
      try { unlinkSync(left); } catch { /* it was renamed or never made */ }
    }
  });
}

/** It was renamed, or is gone. */
export function markFinished(path: string): void {
  unfinished.delete(path);
}
