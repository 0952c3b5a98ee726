import type { Ptr } from '../kernels/kernel-exports.js';
import type { CrosstalkLevels } from './crosstalk-levels.js';
import type { SeparationCall } from './plan-pieces.js';
import type { Section } from './section.js';
import type { SeparationSettings } from './settings.js';
import type { SoloStore } from './solo-store.js';

/** What a block knows: floors per track and bin, levels per pair and bin, and both as rows in the kernels' memory. */
export interface PathContext { store: SoloStore; settings: SeparationSettings; levels: CrosstalkLevels; levelRows: readonly Ptr[]; floors: readonly Float32Array[]; floorRows: readonly Ptr[] }

/** A stretch in which a path is wanted, what stands in the way, power [frame][width], and the tracks between which paths are wanted. */
export interface PathTrial { section: Section; otherPower: Ptr; members: readonly number[] }

/** Solo calls that one path explains, and their evidence. */
interface Group { system: Ptr; isSum: boolean; evidence: number }

/** Bins from one that counts to the next where models are compared. */
const BIN_STEP = 3;

/**
 * Observations of the path from `source` to `receiver` that hold in the trial, into `out`: solo calls around `tSec` fall into groups that one path explains
 * each, for birds move, and come back; the group whose path explains the trial best is taken, or none where an unknown path explains it better.
 * @param prior variances of the path's taps, f64 [tap][width]
 * @returns whether there is a group
 */
export async function choosePath(c: PathContext, receiver: number, source: number, tSec: number, trial: PathTrial, prior: Ptr, out: Ptr): Promise<boolean> {
  const { engine } = c.store, { k } = engine.space, mark = k.mark(), seen = observeTrial(c, receiver, source, trial);
  let best: Ptr | undefined, bestEvidence = engine.weigh([seen], prior, BIN_STEP);
  for (const group of await groupSolos(c, receiver, source, trial.members, tSec, prior)) {
    const evidence = engine.weigh([group.system, seen], prior, BIN_STEP) - group.evidence;
    if (evidence > bestEvidence) { best = group.system; bestEvidence = evidence; }
  }
  if (best !== undefined) k.f32(out, engine.systemValues).set(k.f32(best, engine.systemValues));
  k.release(mark);
  return best !== undefined;
}

/** Normal equations of the path from what is heard in the trial. */
function observeTrial({ settings: { independence, modelError }, store: { engine }, floorRows }: PathContext, receiver: number, source: number, { section, otherPower }: PathTrial): Ptr {
  const { k, width } = engine.space, { spectrumCount, tracks } = section, heard = tracks.get(receiver)!;
  const system = engine.createSystem(), mark = k.mark(), weight = engine.space.createRows(spectrumCount);
  k.fn.weighBins(heard.smooth, otherPower, spectrumCount, width, floorRows[receiver], modelError, independence, weight);
  engine.observe(tracks.get(source)!.planes, heard.planes, weight, system);
  k.release(mark);
  return system;
}

/** Solo calls, nearest first, each with the group it fits best, or one of its own. */
async function groupSolos(c: PathContext, receiver: number, source: number, members: readonly number[], tSec: number, prior: Ptr): Promise<Group[]> {
  const { settings, store } = c, { engine } = store, { k } = engine.space, groups: Group[] = [];
  const near: SeparationCall[] = [...store.findNear(source, tSec, -1, settings.soloCount), ...store.findNear(source, tSec, 1, settings.soloCount)];
  near.sort((a, b) => Math.abs(a.onsetSec - tSec) - Math.abs(b.onsetSec - tSec));
  for (const call of near) {
    const system = await store.loadSystem(call, receiver, members, c.floorRows);
    if (system === undefined) continue;
    const alone = engine.weigh([system], prior, BIN_STEP);
    let best: Group | undefined, bestGain = 0, bestEvidence = 0;
    for (const group of groups) {
      const together = engine.weigh([group.system, system], prior, BIN_STEP), gain = together - group.evidence - alone;
      if (gain > bestGain) { best = group; bestGain = gain; bestEvidence = together; }
    }
    if (best === undefined) { groups.push({ system, isSum: false, evidence: alone }); continue; }
    if (!best.isSum) {
      const sum = engine.createSystem();
      k.f32(sum, engine.systemValues).set(k.f32(best.system, engine.systemValues));
      best.system = sum;
      best.isSum = true;
    }
    engine.add(best.system, system);
    best.evidence = bestEvidence;
  }
  return groups;
}
