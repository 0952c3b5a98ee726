// Truth for learning: which candidates are calls of their track's wearer, which leftovers are calls of birds without a tag.
import { suppressRivals } from '../../dist/attribute/suppress.js';
import { findLeftovers } from '../../dist/attribute/attribution.js';
import { collectLostClaims } from '../../dist/attribute/lost-features.js';
import { computeUntaggedFeatures } from '../../dist/attribute/untagged-features.js';
import { computeCallFeatures } from '../../dist/model/call-features.js';
import { computeContextFeatures } from '../../dist/model/context-features.js';
import { readProbability, scoreForest } from '../../dist/model/forest.js';

const ONSET_SEC = 0.05;
const LEAST_IOU = 0.4;

/** Marks a scene { birds, truth, candidates, gains } with first features `x1` and own labels `y`. */
export function labelOwn(scene) {
  scene.x1 = computeCallFeatures(scene.candidates, scene.gains);
  // Sounds of others that look like own calls are rare and decide the ghosts: they weigh more.
  scene.w = scene.candidates.map((c) => (c.ownedShare > 0.5 && Math.max(...c.agreementZ) > 7 ? 2 : 1));
  scene.y = scene.candidates.map((c) => Number(scene.truth.some((t) => t.bird === scene.birds[c.track] && isSame(c, t))));
}

/** Second features `x2` from the first forest's log-odds. */
export function lookAgain(scene, first) {
  scene.z1 = scene.x1.map((x) => scoreForest(first, x));
  scene.x2 = computeContextFeatures(scene.candidates, scene.x1, scene.z1, scene.gains);
}

/** Leftovers, their features `ux` and labels `uy`, once the second forest has decided. */
export function labelLeftovers(scene, own) {
  const z = scene.x2.map((x) => scoreForest(own, x));
  const p = z.map((v, n) => (scene.candidates[n].shared ? 0 : readProbability(own, v)));
  const accepted = suppressRivals(scene.candidates.map((c, n) => ({ track: c.track, onsetSec: c.onsetSec, offsetSec: c.offsetSec, score: p[n] })), 0.5);
  const events = findLeftovers(scene.candidates, accepted, p, scene.gains);
  scene.ux = computeUntaggedFeatures(scene.candidates, scene.x2, z, events, accepted, scene.gains);
  const claims = collectLostClaims(scene.candidates, scene.z1, events, scene.gains);
  scene.lx = claims.map((c) => c.features);
  scene.ly = claims.map((c) => Number(scene.truth.some((t) => t.bird === scene.birds[c.track] && Math.abs(events[c.event].onsetSec - t.onsetSec) <= ONSET_SEC && overlapOverUnion(events[c.event], t) > 0.3)));
  scene.uy = events.map(() => 0);
  for (const t of scene.truth) {
    if (t.bird !== 'none') continue;
    let best = -1;
    let iou = 0.3;
    events.forEach((e, k) => {
      const v = Math.abs(e.onsetSec - t.onsetSec) <= ONSET_SEC ? overlapOverUnion(e, t) : 0;
      if (v > iou) { iou = v; best = k; }
    });
    if (best >= 0) scene.uy[best] = 1;
  }
}

function isSame(c, t) {
  return Math.abs(c.onsetSec - t.onsetSec) <= ONSET_SEC && overlapOverUnion(c, t) > LEAST_IOU;
}

function overlapOverUnion(a, b) {
  const both = Math.min(a.offsetSec, b.offsetSec) - Math.max(a.onsetSec, b.onsetSec);
  return both <= 0 ? 0 : both / (Math.max(a.offsetSec, b.offsetSec) - Math.min(a.onsetSec, b.onsetSec));
}
