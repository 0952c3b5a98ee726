import { correlateWindow, type ActivityTrace, type FoundOffset } from './activity-correlation.js';

const WINDOW_SEC = 600;
/** Heights of a correlation over its scatter that count as agreement: recorders of different rooms reached 6.8 over the whole range, of one room 11 and more. */
export const FIRST_STRENGTH = 8;
/** Below this a part of the window has to say the same. */
const PLAIN_STRENGTH = 10;
/** From here on agreement of two halves or two thirds counts, or of three recorders with each other; alone it is reached by chance. */
const LEAST_STRENGTH = 5;
const SAME_SEC = 0.02;
/** Parts of one window agree by chance about once in a thousand (offsets within SAME_SEC of a minute either way, by computation): of long studies some window would. */
const MOST_WEAK_WINDOWS = 2;

/** What two recorders say together: the first offset that is sure, else the strongest. */
interface PairOffset extends FoundOffset { isSure: boolean }

/**
 * Offsets of recorders against the first, from their activity; undefined where none is sure. A recorder that shares too little sound with the first is placed
 * by another one that has its place already, or where the weak offsets of three recorders, found independently, sum to nothing.
 */
export function findFirstOffsets(traces: readonly (ActivityTrace | undefined)[], maxOffsetSec: number): (number | undefined)[] {
  const offsets: (number | undefined)[] = traces.map((_, r) => (r === 0 ? 0 : undefined));
  const looks = new Map<number, PairOffset | undefined>();
  const look = (a: number, b: number): PairOffset | undefined => {
    if (a > b) return turn(look(b, a));
    const key = a * traces.length + b, [first, second] = [traces[a], traces[b]];
    if (!looks.has(key)) looks.set(key, first && second && lookAtPair(first, second, maxOffsetSec));
    return looks.get(key);
  };
  traces.forEach((_, r) => {
    const found = r > 0 ? look(0, r) : undefined;
    if (found?.isSure) offsets[r] = found.offsetSec;
  });
  for (;;) {
    const next = findNext(offsets, look, (found) => found.isSure) ?? findNext(offsets, look, (found, from, to) => isClosed(found, from, to, offsets, look));
    if (!next) return offsets;
    offsets[next.recorder] = next.offsetSec;
  }
}

type Look = (a: number, b: number) => PairOffset | undefined;

/** The recorder without an offset that one with an offset places best. */
function findNext(offsets: readonly (number | undefined)[], look: Look, isAccepted: (found: PairOffset, from: number, to: number) => boolean): { recorder: number; offsetSec: number } | undefined {
  let best: { recorder: number; offsetSec: number } | undefined, strength = 0;
  offsets.forEach((known, from) => offsets.forEach((unknown, to) => {
    const found = known !== undefined && unknown === undefined ? look(from, to) : undefined;
    if (!found || found.strength <= strength || !isAccepted(found, from, to)) return;
    strength = found.strength;
    best = { recorder: to, offsetSec: known! + found.offsetSec };
  }));
  return best;
}

/** Whether a third recorder says the same of two: by its own place, or by what is found between it and both. */
function isClosed(found: PairOffset, from: number, to: number, offsets: readonly (number | undefined)[], look: Look): boolean {
  if (found.strength < LEAST_STRENGTH) return false;
  return offsets.some((known, third) => {
    if (third === from || third === to) return false;
    const there = known === undefined ? look(from, third) : { offsetSec: known - offsets[from]!, strength: Infinity }, back = look(third, to);
    return !!there && !!back && Math.min(there.strength, back.strength) >= LEAST_STRENGTH && Math.abs(there.offsetSec + back.offsetSec - found.offsetSec) < SAME_SEC;
  });
}

function turn(found: PairOffset | undefined): PairOffset | undefined {
  return found && { ...found, offsetSec: -found.offsetSec };
}

function lookAtPair(first: ActivityTrace, second: ActivityTrace, maxOffsetSec: number): PairOffset | undefined {
  const width = Math.round(WINDOW_SEC / first.stepSec), count = Math.max(1, Math.ceil(first.values.length / width - 0.25));
  let best: PairOffset | undefined;
  for (let k = 0; k < count; k++) {
    const found = correlateWindow(first, second, k * width, width, 0, maxOffsetSec);
    if (!found) continue;
    if (isAgreement(first, second, maxOffsetSec, k * width, width, found, count <= MOST_WEAK_WINDOWS)) return { ...found, isSure: true };
    if (!best || found.strength > best.strength) best = { ...found, isSure: false };
  }
  return best;
}

/** Whether an offset is more than chance: by its strength, or because parts of the window say the same by themselves. */
function isAgreement(first: ActivityTrace, second: ActivityTrace, maxOffsetSec: number, from: number, width: number, found: FoundOffset, isWeakAllowed: boolean): boolean {
  if (found.strength > PLAIN_STRENGTH) return true;
  if (found.strength < (isWeakAllowed ? LEAST_STRENGTH : FIRST_STRENGTH)) return false;
  const length = Math.min(width, first.values.length - from);
  const countAgreeing = (parts: number): number => Array.from({ length: parts }, (_, k) => {
    const part = correlateWindow(first, second, from + Math.floor((k * length) / parts), Math.floor(length / parts), 0, maxOffsetSec);
    return part !== null && Math.abs(part.offsetSec - found.offsetSec) < SAME_SEC;
  }).filter(Boolean).length;
  const halves = countAgreeing(2);
  return halves === 2 || (found.strength > FIRST_STRENGTH ? halves === 1 : countAgreeing(3) >= 2);
}
