import type { Candidate } from './candidate.js';
import { CONTACT_SEC, CONTACT_Z } from './contact.js';
import { describeSegment, measureShare, type Measured, type StretchContext } from './measure-candidate.js';
import { copySegment, type Segment } from './segments.js';

/** Between birds in body contact the other microphone hears the call hardly quieter or even louder. */
const MOST_LEAD_DB = 10;
const MOST_SHARED_LEAD_DB = 6;
const MOST_TWINS = 2;
/** Shared sound that is a wearer's own voice is nearly all that the track holds, and nothing else of the track stands there. */
const LEAST_SHARED_SHARE = 0.6;
const LEAST_OWN_SHARE = 0.3;
const MOST_OVERLAP = 0.3;

/**
 * Between birds in body contact the level does not tell who called: gains are known to a few decibels only, a head may shade the own microphone.
 * So the same bins are measured once more as a candidate of every track that hears them about as loud and about at the same time; lags and
 * the low end of the own voice decide between the twins later.
 * @param own what is known already: shared sound is not offered to a track that owns sound of its own there
 * @returns candidates of other tracks over the bins of `measured`; of shared sound also one for its own track
 */
export function measureTwins(c: StretchContext, segment: Segment, { candidate, set }: Measured, own: readonly Candidate[]): Candidate[] {
  const i = candidate.track;
  const level = candidate.levelDb[i] - c.gainDb[i];
  const near: { track: number; leadDb: number }[] = [];
  for (let j = 0; j < candidate.levelDb.length; j++) {
    if (j === i || candidate.agreementZ[j] < CONTACT_Z || candidate.lostShare[j] > 0.3 || Math.abs(candidate.lagSec[j]) > CONTACT_SEC) continue;
    const leadDb = level - (candidate.levelDb[j] - c.gainDb[j]);
    if (leadDb < (segment.shared ? MOST_SHARED_LEAD_DB : MOST_LEAD_DB)) near.push({ track: j, leadDb });
  }
  if (near.length === 0) return [];
  near.sort((a, b) => a.leadDb - b.leadDb || a.track - b.track);
  const chosen = near.slice(0, MOST_TWINS);
  // Shared sound of a lone track is the room's; where two are in contact it may be either bird's own voice.
  if (segment.shared) chosen.push({ track: i, leadDb: 0 });
  const to = Math.min(c.spectra.frameCount, segment.endFrame);
  const twins = chosen.map(({ track, leadDb }) => {
    const ownedShare = measureShare(c, track, set, segment.startFrame, to);
    const lead = track === i ? near[0].leadDb : -leadDb;
    const shiftSec = track === i ? 0 : candidate.lagSec[track];
    const residual = c.residualSec(track, candidate.onsetSec);
    const edges = { onsetSec: candidate.onsetSec + shiftSec + residual - c.startSec, offsetSec: candidate.offsetSec + shiftSec + residual - c.startSec };
    const twin = copySegment(segment);
    twin.track = track;
    twin.endFrame = to;
    twin.shared = false;
    twin.core = false;
    twin.twin = true;
    return describeSegment(c, twin, { set, ownedShare, leadDb: lead }, edges);
  });
  return segment.shared ? twins.filter((t) => t.ownedShare >= LEAST_SHARED_SHARE && !own.some((o) => hasOwnThere(o, t))) : twins;
}

function hasOwnThere(own: Candidate, twin: Candidate): boolean {
  if (own.track !== twin.track || own.shared || own.twin || own.ownedShare < LEAST_OWN_SHARE) return false;
  const both = Math.min(own.offsetSec, twin.offsetSec) - Math.max(own.onsetSec, twin.onsetSec);
  return both > MOST_OVERLAP * Math.min(own.offsetSec - own.onsetSec, twin.offsetSec - twin.onsetSec);
}
