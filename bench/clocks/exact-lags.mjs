// What a perfect ear would read in a simulated study: every call on every track, without noise, echo or wrong peak.
import { planCalls } from '../../dist/simulate/call-plan.js';
import { parseScene } from '../../dist/simulate/parse-scene.js';
import { findPose, planPoses } from '../../dist/simulate/pose.js';
import { hashLabel, Random } from '../../dist/simulate/random.js';
import { RecorderClock } from '../../dist/simulate/recorder-clock.js';
import { Room } from '../../dist/simulate/room.js';
import { distance } from '../../dist/simulate/vector.js';

/** Draws anew what simulateScene drew: birds' places, calls and clocks, in the same order. */
export function planStudy(input, seed) {
  const scene = parseScene(input);
  const random = new Random(hashLabel(seed, 'scene'));
  const calls = planCalls(scene, random, {});
  const { poses } = planPoses(scene, calls, random);
  const clocks = scene.recorders.map((r) => new RecorderClock(r, random.fork(`clock ${r.name}`)));
  const wearers = scene.birds.map((_, b) => b).filter((b) => scene.birds[b].tagged);
  return { scene, calls, poses, clocks, wearers, soundSpeed: new Room(scene.room, scene.sampleRateHz, random.fork('room')).soundSpeed };
}

/**
 * @param options.isPoint mouths at the microphones and receivers without delays: what is left is the fit's own error
 * @returns arrivals as fitClocksFully wants them
 */
export function listExactLags(plan, recorderOfTrack, { isPoint = false } = {}) {
  const { calls, poses, clocks, wearers, soundSpeed, scene } = plan;
  const out = [];
  for (const call of calls) {
    const from = wearers.indexOf(call.bird);
    if (from < 0 || call.onsetSec > scene.durationSec) continue;
    const t = call.onsetSec;
    const pose = (track) => findPose(poses[wearers[track]], t);
    const { emitter, receiver: own } = pose(from);
    const mouth = isPoint ? own.positionM : emitter.positionM;
    wearers.forEach((_, to) => {
      if (to === from) return;
      const { receiver } = pose(to);
      const travelSec = (distance(mouth, receiver.positionM) - distance(mouth, own.positionM)) / soundSpeed;
      const delaySec = isPoint ? 0 : receiver.delaySec - own.delaySec;
      const clockSec = clocks[recorderOfTrack[to]].offsetSec(t) - clocks[recorderOfTrack[from]].offsetSec(t);
      out.push({ tSec: t, from, to, lagSec: travelSec + delaySec + clockSec, nearSec: travelSec + delaySec, height: HEIGHT });
    });
  }
  return out.sort((a, b) => a.tSec - b.tSec || a.from - b.from || a.to - b.to);
}

/** A clear peak, standard deviations. */
const HEIGHT = 15;
