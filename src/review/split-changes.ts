import { MOST_BODY_BYTES, MOST_CHANGES } from './labels.js';
import type { LabelChange } from './labels.js';

/** Left for what stands around the changes in a request. */
const FRAME_BYTES = 1024;

/** Cuts changes, in their order, into pieces that the server takes in one request each. */
export function splitChanges(changes: readonly LabelChange[]): LabelChange[][] {
  const pieces: LabelChange[][] = [];
  const encoder = new TextEncoder();
  let room = 0;
  for (const change of changes) {
    const bytes = encoder.encode(JSON.stringify(change)).length + 1;
    const last = pieces[pieces.length - 1];
    if (last && last.length < MOST_CHANGES && bytes <= room) last.push(change);
    else {
      pieces.push([change]);
      room = MOST_BODY_BYTES - FRAME_BYTES;
    }
    room -= bytes;
  }
  return pieces;
}
