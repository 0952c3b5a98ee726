import { drawPoissonTimes } from './random.js';
import type { Random } from './random.js';
import type { Emitter, Receiver } from './room.js';
import type { FullBird, FullScene } from './scene.js';
import type { PlannedCall } from './call-plan.js';
import { addScaled } from './vector.js';
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

/** Mouth ahead of and slightly above the microphone on the back, tag.mouthM away. */
function makePose(scene: FullScene, bird: FullBird, perch: number, fromSec: number, chance: Random): Pose {
  const yaw = chance.range(0, 2 * Math.PI), pitch = chance.range(-0.2, 0.35);
  const heading: Vec3 = [Math.cos(yaw) * Math.cos(pitch), Math.sin(yaw) * Math.cos(pitch), Math.sin(pitch)];
  const microphone: Vec3 = bird.perchesM[perch];
  const lean = chance.range(-0.4, 0.4);
  const toMouth: Vec3 = [Math.cos(yaw + lean) * 0.94, Math.sin(yaw + lean) * 0.94, Math.sqrt(1 - 0.94 * 0.94)];
  const mouth = addScaled(microphone, toMouth, bird.tag.mouthM);
  const inside = mouth.map((v, i) => Math.min(scene.room.sizeM[i] - 0.001, Math.max(0.001, v))) as unknown as Vec3;
  return {
    fromSec, perch,
    emitter: { positionM: inside, heading, directivityDb: bird.directivityDb },
    receiver: { positionM: microphone, up: [-0.35 * Math.cos(yaw), -0.35 * Math.sin(yaw), 0.937], shadowDb: bird.tag.shadowDb, delaySec: bird.tagged ? bird.tag.delaySec : 0 },
  };
}
