import { attributeCandidates, type Models } from '../attribute/attribution.js';
import { makeCallRows, nameCaller, type TableContext } from '../attribute/make-tables.js';
import { overlapShare } from '../attribute/suppress.js';
import type { Candidate } from '../evidence/candidate.js';
import type { GainFit } from '../model/fit-gains.js';
import type { CallRow } from '../schema/rows.js';

/** What a bird sounds like and where it sits is known from the sure calls of so many seconds before, as in the third look of `attribute`. */
const CONTEXT_SEC = 150;
/** Sounds that ended longer ago, and are less likely to be calls of their wearers, are not kept that long: they are most, and tell later calls nothing. */
const RECENT_SEC = 5;
const UNLIKELY = 0.02;
/** Calls that were printed stand: what overlaps one of the same caller by more than this share is not printed. */
const MOST_OVERLAP = 0.3;

export interface DeciderState {
  candidates: Candidate[];
  printed: { bird: string; onsetSec: number; offsetSec: number }[];
  callCount: number;
  finalSec: number;
}

export function createDeciderState(startSec: number): DeciderState {
  return { candidates: [], printed: [], callCount: 0, finalSec: startSec };
}

/** Decides candidates once nothing that competes with them can come any more. */
export class Decider {
  constructor(private readonly state: DeciderState, private readonly models: Models, private readonly context: TableContext) {}

  /** Up to when calls are printed: a call that ended before is printed or never will be. */
  get finalSec(): number { return this.state.finalSec; }

  /** Candidates that reach across a cut were seen before: those are not taken twice. */
  add(found: readonly Candidate[]): Candidate[] {
    const { candidates } = this.state;
    const fresh = found.filter((c) => !candidates.some((k) => isSame(k, c)));
    candidates.push(...fresh);
    candidates.sort((a, b) => a.onsetSec - b.onsetSec || a.track - b.track || a.offsetSec - b.offsetSec || a.shared - b.shared || a.twin - b.twin);
    return fresh;
  }

  /** Gives the calls that ended in (last final time, finalSec]. */
  decide(finalSec: number, gains: GainFit): CallRow[] {
    const { state } = this;
    const from = state.finalSec;
    state.finalSec = finalSec;
    state.candidates = state.candidates.filter((c) => c.onsetSec >= finalSec - CONTEXT_SEC);
    if (!state.candidates.some((c) => c.offsetSec > from && c.offsetSec <= finalSec)) return [];
    const attribution = attributeCandidates(state.candidates, gains, this.models);
    const rows = makeCallRows(state.candidates, attribution, this.context);
    // Of what is over only the sounds that may have been calls are context.
    state.candidates = state.candidates.filter((c, n) => c.offsetSec > finalSec - RECENT_SEC || attribution.ownProbability[n] >= UNLIKELY);
    return rows.filter((row, n) => {
      const call = attribution.calls[n];
      if (call.offsetSec <= from || call.offsetSec > finalSec) return false;
      const bird = nameCaller(this.context.birds, call.caller);
      if (state.printed.some((p) => p.bird === bird && overlapShare(p, call) > MOST_OVERLAP)) return false;
      state.printed = [...state.printed.filter((p) => p.offsetSec > finalSec - 10), { bird, onsetSec: call.onsetSec, offsetSec: call.offsetSec }];
      row.callId = ++state.callCount;
      return true;
    });
  }
}

/** The same cut of the same sound, measured in two windows. */
function isSame(a: Candidate, b: Candidate): boolean {
  if (a.track !== b.track || a.shared !== b.shared || a.core !== b.core || a.twin !== b.twin || a.overPedestal !== b.overPedestal || a.elements !== b.elements) return false;
  const both = Math.min(a.offsetSec, b.offsetSec) - Math.max(a.onsetSec, b.onsetSec);
  return both > 0.85 * (Math.max(a.offsetSec, b.offsetSec) - Math.min(a.onsetSec, b.onsetSec));
}
