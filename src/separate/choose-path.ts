import type { CrosstalkLevels } from './crosstalk-levels.js';
import { spreadPrior } from './crosstalk-levels.js';
import { addSystem, createPathSystem } from './path-system.js';
import type { PathSystem } from './path-system.js';
import type { SeparationCall } from './plan-pieces.js';
import { smoothTrack } from './section.js';
import type { Section } from './section.js';
import type { SeparationSettings } from './settings.js';
import type { SoloStore } from './solo-store.js';
import type { BinRange } from '../kernels/paths.js';

export interface PathContext { store: SoloStore; settings: SeparationSettings; levels: CrosstalkLevels; floors: readonly Float32Array[] }

/** A stretch in which a path is wanted, what stands in the way, power [frame][bin], and the tracks between which paths are wanted. */
export interface PathTrial { section: Section; otherPower: Float32Array; members: readonly number[] }

/** Solo calls that one path explains, and their evidence. */
interface Group { system: PathSystem; evidence: number }

/** Bins from one that counts to the next where models are compared. */
const BIN_STEP = 3;

/**
 * Observations of the path from `source` to `receiver` that hold in the trial: solo calls around `tSec` fall into groups that one path explains each,
 * for birds move, and come back; the group whose path explains the trial best is taken, or none where an unknown path explains it better.
 */
export async function choosePath(c: PathContext, receiver: number, source: number, tSec: number, trial: PathTrial, range: BinRange): Promise<PathSystem | undefined> {
  const { settings, store } = c, prior = spreadPrior(c.levels, receiver, source, settings);
  const seen = observeTrial(c, receiver, source, trial, range);
  let best: PathSystem | undefined, bestEvidence = store.engine.weigh([seen], prior, range, BIN_STEP);
  for (const group of await groupSolos(c, receiver, source, trial.members, tSec, prior, range)) {
    const evidence = store.engine.weigh([group.system, seen], prior, range, BIN_STEP) - group.evidence;
    if (evidence > bestEvidence) { best = group.system; bestEvidence = evidence; }
  }
  return best;
}

/** Normal equations of the path from what is heard in the trial. */
function observeTrial({ settings, store, floors }: PathContext, receiver: number, source: number, { section, otherPower }: PathTrial, range: BinRange): PathSystem {
  const { tapCount, binCount, independence, modelError } = settings, weight = smoothTrack(section, receiver).slice(), floor = floors[receiver];
  for (let i = 0, b = 0; i < weight.length; i++) { weight[i] = independence / (floor[b] + otherPower[i] + modelError * weight[i]); if (++b === binCount) b = 0; }
  const system = createPathSystem(tapCount, binCount);
  store.engine.addObservations(system, [section.tracks[source]], weight, section.tracks[receiver], range);
  return system;
}

/** Solo calls, nearest first, each with the group it fits best, or one of its own. */
async function groupSolos(c: PathContext, receiver: number, source: number, members: readonly number[], tSec: number, prior: Float64Array, range: BinRange): Promise<Group[]> {
  const { settings, store } = c, groups: Group[] = [];
  const near: SeparationCall[] = [...store.findNear(source, tSec, -1, settings.soloCount), ...store.findNear(source, tSec, 1, settings.soloCount)];
  near.sort((a, b) => Math.abs(a.onsetSec - tSec) - Math.abs(b.onsetSec - tSec));
  for (const call of near) {
    const system = await store.loadSystem(call, receiver, members, c.floors[receiver], range);
    if (!system) continue;
    const alone = store.engine.weigh([system], prior, range, BIN_STEP);
    let best: Group | undefined, bestGain = 0, bestEvidence = 0;
    for (const group of groups) {
      const together = store.engine.weigh([group.system, system], prior, range, BIN_STEP), gain = together - group.evidence - alone;
      if (gain > bestGain) { best = group; bestGain = gain; bestEvidence = together; }
    }
    if (best) { addSystem(best.system, system, 0); best.evidence = bestEvidence; continue; }
    const own = createPathSystem(settings.tapCount, settings.binCount);
    addSystem(own, system, 0);
    groups.push({ system: own, evidence: alone });
  }
  return groups;
}
