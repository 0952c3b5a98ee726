import { drawPoissonTimes } from './random.js';
import type { Random } from './random.js';
import type { Emitter, Receiver } from './room.js';
import type { FullBird, FullScene } from './scene.js';
import type { PlannedCall } from './call-plan.js';
import { addScaled, distance } from './vector.js';
import type { Vec3 } from './vector.js';

/** Where a bird sits from a moment on. */
export interface Pose { fromSec: number; perch: number; emitter: Emitter; receiver: Receiver }

/** Flights end at `atSec` and take `flightSec`. */
export interface Move { bird: number; atSec: number; flightSec: number }

export interface Choreography { poses: Pose[][]; moves: Move[] }

/** Draws perches and headings of every bird over time; nobody moves during its own calls. */
export function planPoses(scene: FullScene, calls: readonly PlannedCall[], random: Random): Choreography {
  const poses: Pose[][] = [], moves: Move[] = [];
  scene.birds.forEach((bird, b) => {
    const chance = random.fork(`poses ${bird.name}`);
    const own = calls.filter((c) => c.bird === b);
    let perch = chance.whole(0, bird.perchesM.length - 1);
    const list: Pose[] = [makePose(scene, bird, perch, -1e9, chance)];
    for (const t of drawPoissonTimes(chance, bird.movesPerMin, 0.5, scene.durationSec)) {
      const flightSec = chance.range(0.15, 0.7);
      if (own.some((c) => c.onsetSec < t + 0.15 && c.offsetSec > t - flightSec - 0.1)) continue;
      const turnOnly = bird.perchesM.length === 1 || chance.chance(0.3);
      if (!turnOnly) {
        perch = (perch + chance.whole(1, bird.perchesM.length - 1)) % bird.perchesM.length;
        moves.push({ bird: b, atSec: t, flightSec });
      }
      list.push(makePose(scene, bird, perch, t, chance));
    }
    poses.push(list);
  });
  return { poses, moves };
}

/** The pose that holds at a moment. */
export function findPose(poses: readonly Pose[], atSec: number): Pose {
  let i = poses.length - 1;
  while (i > 0 && poses[i].fromSec > atSec) i--;
  return poses[i];
}

/**
 * A beak keeps this far from the microphone on another bird's back: half a small bird's width, its feathers, and the head that the beak belongs to
 * (common practice, no source). Without it birds that face each other at 5 cm would have their heads inside each other.
 */
export const CLEAR_OF_OTHERS_M = 0.04;
const MOST_TURNS = 40;

/** Mouth ahead of and slightly above the microphone on the back, tag.mouthM away, and clear of the others' bodies: who would touch one turns away. */
function makePose(scene: FullScene, bird: FullBird, perch: number, fromSec: number, chance: Random): Pose {
  let yaw = chance.range(0, 2 * Math.PI);
  const pitch = chance.range(-0.2, 0.35), lean = chance.range(-0.4, 0.4);
  const microphone: Vec3 = bird.perchesM[perch];
  const others = scene.birds.filter((b) => b !== bird).flatMap((b) => b.perchesM).filter((p) => distance(p, microphone) < CLEAR_OF_OTHERS_M + bird.tag.mouthM);
  const mouthAt = (angle: number): Vec3 => addScaled(microphone, [Math.cos(angle + lean) * 0.94, Math.sin(angle + lean) * 0.94, Math.sqrt(1 - 0.94 * 0.94)], bird.tag.mouthM);
  const clearance = (angle: number): number => Math.min(CLEAR_OF_OTHERS_M, ...others.map((p) => distance(mouthAt(angle), p)));
  // Turns are drawn apart, so that birds with room around them sit as they would without the rule.
  const turns = chance.fork(`turns at ${fromSec}`);
  for (let n = 0, best = clearance(yaw); n < MOST_TURNS && best < CLEAR_OF_OTHERS_M; n++) {
    const other = turns.range(0, 2 * Math.PI), room = clearance(other);
    if (room > best) { best = room; yaw = other; }
  }
  const heading: Vec3 = [Math.cos(yaw) * Math.cos(pitch), Math.sin(yaw) * Math.cos(pitch), Math.sin(pitch)];
  const mouth = mouthAt(yaw);
  const inside = mouth.map((v, i) => Math.min(scene.room.sizeM[i] - 0.001, Math.max(0.001, v))) as unknown as Vec3;
  return {
    fromSec, perch,
    emitter: { positionM: inside, heading, directivityDb: bird.directivityDb },
    receiver: { positionM: microphone, up: [-0.35 * Math.cos(yaw), -0.35 * Math.sin(yaw), 0.937], shadowDb: bird.tag.shadowDb, delaySec: bird.tagged ? bird.tag.delaySec : 0 },
  };
}
