// Truth for learning: which candidates are calls of their track's wearer, which leftovers are calls of birds without a tag.
import { acceptCandidates, suppressRivals } from '../../dist/attribute/suppress.js';
import { findLeftovers } from '../../dist/attribute/attribution.js';
import { collectLostClaims } from '../../dist/attribute/lost-features.js';
import { computeUntaggedContext } from '../../dist/attribute/untagged-context.js';
import { computeUntaggedFeatures, listCuts } from '../../dist/attribute/untagged-features.js';
import { computeCallFeatures } from '../../dist/model/call-features.js';
import { CONTEXT_FEATURES, prepareContextFeatures } from '../../dist/model/context-features.js';
import { findDoubtful } from '../../dist/model/doubtful.js';
import { readProbability, scoreForest } from '../../dist/model/forest.js';
import { readVoices } from '../../dist/model/voices.js';
import { intersectionOverUnion } from '../../dist/numeric/intervals.js';

const ONSET_SEC = 0.05;
const LEAST_IOU = 0.4;

/** Marks a scene { birds, truth, candidates, gains } with first features `x1` and own labels `y`. */
export function labelOwn(scene) {
  scene.x1 = computeCallFeatures(scene.candidates, scene.gains);
  // Sounds of others that look like own calls are rare and decide the ghosts: they weigh more, those of birds without a tag most.
  const free = scene.truth.filter((t) => t.bird === 'none');
  scene.w = scene.candidates.map((c) => (free.some((t) => intersectionOverUnion(c, t) > LEAST_IOU) ? 4 : c.ownedShare > 0.5 && Math.max(...c.agreementZ) > 7 ? 2 : 1));
  scene.y = scene.candidates.map((c) => Number(scene.truth.some((t) => t.bird === scene.birds[c.track] && isSame(c, t))));
}

/** What the first look says of every candidate, and whom it leaves in doubt. */
export function takeFirstLook(scene, first) {
  scene.z1 = scene.x1.map((x) => scoreForest(first, x));
  lookAgain(scene, 'z1', 'x2', undefined, 'asked2');
}

/** What the second look says of those asked about, and whom it leaves in doubt. */
export function takeSecondLook(scene, second) {
  scene.z2 = scoreAsked(scene, second, 'x2', 'asked2', 'z1');
  lookAgain(scene, 'z2', 'x3', scene.asked2, 'asked3');
}

/** Context features `x` of those that log-odds `z` leave in doubt (`asked`): none of the others. Kept with single precision, as they are learned from: there are gigabytes of them. */
function lookAgain(scene, z, x, before, asked) {
  scene[asked] = findDoubtful(scene[z], before);
  const describe = prepareContextFeatures(scene.candidates, scene.x1, scene[z], scene.gains);
  const row = new Float64Array(CONTEXT_FEATURES.length);
  scene[x] = new Array(scene.candidates.length);
  for (const n of scene[asked]) {
    describe(n, row);
    scene[x][n] = Float32Array.from(row);
  }
}

/** Log-odds of those asked about; of the others those of the look before. */
function scoreAsked(scene, forest, x, asked, before) {
  const out = [...scene[before]];
  for (const n of scene[asked]) out[n] = scoreForest(forest, scene[x][n]);
  return out;
}

/** Leftovers, their features `ux` and labels `uy`, once the second forest has decided. */
export function labelLeftovers(scene, own) {
  const z = scoreAsked(scene, own, 'x3', 'asked3', 'z2');
  const p = z.map((v, n) => (scene.candidates[n].shared ? 0 : readProbability(own, v)));
  const accepted = acceptCandidates(scene.candidates, p, 0.5);
  const events = findLeftovers(scene.candidates, accepted, p, scene.gains);
  const cuts = listCuts(scene.candidates, events);
  scene.cuts = cuts;
  scene.events = events;
  scene.accepted = accepted;
  scene.z3 = z;
  scene.ux = computeUntaggedFeatures(scene.candidates, scene.x1, z, events, cuts, accepted, scene.gains);
  const free = scene.truth.filter((t) => t.bird === 'none');
  scene.uy = cuts.map(({ candidate }) => Number(free.some((t) => isSame(scene.candidates[candidate], t))));
}

/** Claims of birds whose link was down on leftovers, with features `lx` and labels `ly`, once the second look has been taken. */
export function labelLost(scene, untaggedAgain) {
  const odds = scoreAsked(scene, untaggedAgain, 'vx', 'askedCuts', 'uz');
  scene.claims = collectLostClaims(scene.candidates, scene.z3, scene.events, scene.cuts, odds, scene.gains, readVoices(scene.candidates));
  scene.lx = scene.claims.map((c) => c.features);
  scene.ly = scene.claims.map((c) => Number(scene.truth.some((t) => t.bird === scene.birds[c.track] && isSame(scene.candidates[scene.cuts[c.cut].candidate], t))));
}

/** Features `vx` of the second look at leftovers, from what the first said. */
export function lookAgainAtLeftovers(scene, untagged) {
  scene.uz = scene.ux.map((x) => scoreForest(untagged, x));
  scene.askedCuts = findDoubtful(scene.uz);
  const voices = readVoices(scene.candidates), describe = prepareContextFeatures(scene.candidates, scene.x1, scene.z2, scene.gains, voices);
  const rows = computeUntaggedContext(scene.candidates, { cuts: scene.cuts, rows: scene.ux, logOdds: scene.uz }, scene.askedCuts, scene.accepted, scene.gains, voices, describe);
  scene.vx = new Array(scene.cuts.length);
  scene.askedCuts.forEach((n, k) => { scene.vx[n] = rows[k]; });
}

/**
 * Rows that would be written at probability `least`, each with its log-odds and whether it is right as the score counts: onset within 50 ms of
 * a call of that bird, one to one. Calibrating on these makes the column mean what the reader takes it for.
 */
export function judgeRows(truth, rows) {
  const pairs = [];
  rows.forEach((r, n) => truth.forEach((t, m) => {
    const d = Math.abs(t.onsetSec - r.onsetSec);
    if (t.bird === r.bird && d <= ONSET_SEC) pairs.push([d, n, m]);
  }));
  pairs.sort((a, b) => a[0] - b[0]);
  const right = rows.map(() => 0);
  const used = new Set();
  for (const [, n, m] of pairs) if (!right[n] && !used.has(m)) { right[n] = 1; used.add(m); }
  return right;
}

/** Calls without a tag that would stand at log-odds above `least`: { z, right } each. */
export function judgeUntaggedRows(scene, untagged, least) {
  const z = scoreAsked(scene, untagged, 'vx', 'askedCuts', 'uz');
  const claims = scene.cuts.map(({ candidate }, k) => ({ track: 0, onsetSec: scene.candidates[candidate].onsetSec, offsetSec: scene.candidates[candidate].offsetSec, score: z[k] }));
  const stand = suppressRivals(claims, least);
  const right = judgeRows(scene.truth, stand.map((k) => ({ bird: 'none', onsetSec: claims[k].onsetSec })));
  return stand.map((k, m) => ({ z: z[k], right: right[m] }));
}

/** Calls of birds with a lost link that would stand at log-odds above `least`, were there no other claims: { z, right } each. */
export function judgeLostRows(scene, lost, least) {
  const z = scene.lx.map((x) => scoreForest(lost, x));
  const claims = scene.claims.map(({ cut }, k) => ({ track: 0, onsetSec: scene.candidates[scene.cuts[cut].candidate].onsetSec, offsetSec: scene.candidates[scene.cuts[cut].candidate].offsetSec, score: z[k] }));
  const stand = suppressRivals(claims, least);
  const right = judgeRows(scene.truth, stand.map((k) => ({ bird: scene.birds[scene.claims[k].track], onsetSec: claims[k].onsetSec })));
  return stand.map((k, m) => ({ z: z[k], right: right[m] }));
}

/** Own calls that would be accepted at log-odds above `least`: { z, right } each. */
export function judgeOwnRows(scene, own, least) {
  const z = scoreAsked(scene, own, 'x3', 'asked3', 'z2');
  const accepted = acceptCandidates(scene.candidates, z.map((v, n) => (scene.candidates[n].shared ? -Infinity : v)), least);
  const right = judgeRows(scene.truth, accepted.map((n) => ({ bird: scene.birds[scene.candidates[n].track], onsetSec: scene.candidates[n].onsetSec })));
  return accepted.map((n, k) => ({ z: z[n], right: right[k] }));
}

function isSame(c, t) {
  return Math.abs(c.onsetSec - t.onsetSec) <= ONSET_SEC && intersectionOverUnion(c, t) > LEAST_IOU;
}
