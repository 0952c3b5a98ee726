// A short piece of a scene as a scene of its own: at the beginning of a recording, and in short ones, little is known of any bird.
import { Random, hashLabel } from '../../dist/simulate/random.js';

const PIECE_SEC = [4, 25];
/** Labels and candidates differ by this much at most where they are the same. */
const EDGE_SEC = 0.05;

/** @param scene { seed, birds, truth, candidates, gains } @returns what lies in a stretch drawn by its seed; candidates are shared with the scene */
export function cutPiece(scene) {
  const random = new Random(hashLabel(scene.seed, `piece of ${scene.birds.length} birds`));
  const end = Math.max(0, ...scene.candidates.map((c) => c.offsetSec));
  const length = Math.min(end, random.logRange(...PIECE_SEC)), from = random.range(0, Math.max(0, end - length));
  const isInside = (x, edgeSec) => x.onsetSec >= from - edgeSec && x.offsetSec <= from + length + edgeSec;
  return { ...scene, truth: scene.truth.filter((t) => isInside(t, EDGE_SEC)), candidates: scene.candidates.filter((c) => isInside(c, 0)) };
}
