import { planBodyNoise } from './body-noise.js';
import type { BodyEvent } from './body-noise.js';
import { planCalls } from './call-plan.js';
import type { PlannedCall } from './call-plan.js';
import { dbToGain, powerToDb } from './filters.js';
import { GainCourse, planLinkFaults } from './link.js';
import type { LinkFault } from './link.js';
import { parseScene } from './parse-scene.js';
import { findPose, planPoses } from './pose.js';
import type { Choreography } from './pose.js';
import { hashLabel, Random } from './random.js';
import { RecorderClock } from './recorder-clock.js';
import { Room } from './room.js';
import type { PathOptions } from './room.js';
import { planRoomNoise } from './room-noise.js';
import type { RoomEvent } from './room-noise.js';
import type { SampleAudio } from './repertoire.js';
import { NOMINAL_MOUTH_M } from './scene.js';
import type { FullScene, Scene } from './scene.js';
import { filterThroughTag, Stage } from './stage.js';
import type { Listener, Microphone } from './stage.js';
import { finishTracks } from './track-chain.js';
import { listClockRows, listEvents, listTruth } from './truth.js';
import type { SceneClockRow, SceneEvent, TruthRow } from './truth.js';
import { distance } from './vector.js';

export interface SimulateOptions {
  /** Also return each bird's own voice alone, as its own track received it (no noise, no faults, no clipping). */
  ownVoice?: boolean;
  /** Audio of the sample files that voices name. */
  sampleAudio?: Record<string, SampleAudio>;
  onProgress?: (done: number, total: number) => void;
}

export interface SimulatedTrack { bird: string; recorder: string; samples: Float32Array; ownVoice?: Float32Array }

export interface SimulatedScene {
  sampleRateHz: number;
  bits: number;
  tracks: SimulatedTrack[];
  truth: TruthRow[];
  events: SceneEvent[];
  clock: SceneClockRow[];
}

/** A call with the level that reached every microphone (mean square, nominal own call = 1). */
export interface PlayedCall extends PlannedCall { powers: number[]; nearestM: number }

/** Everything that was drawn, before it becomes sound. */
export interface ScenePlan {
  scene: FullScene;
  choreography: Choreography;
  body: BodyEvent[];
  roomEvents: RoomEvent[];
  faults: LinkFault[];
  clocks: RecorderClock[];
  gains: GainCourse[];
  /** Reference time of sample 0 of the internal tracks. */
  startSec: number;
  frames: number;
}

/**
 * Simulates an aviary recording: one track per tagged bird, with the truth. The same scene, seed and options give the same samples.
 * @param seed any 32-bit whole number
 * @throws VolaryError 'bad-scene'; 'missing' where a sample file has no audio
 */
export function simulateScene(input: Scene, seed: number, options: SimulateOptions = {}): SimulatedScene {
  const scene = parseScene(input), fs = scene.sampleRateHz;
  const random = new Random(hashLabel(seed, 'scene'));
  const planned = planCalls(scene, random, options.sampleAudio ?? {});
  const choreography = planPoses(scene, planned, random);
  const clocks = scene.recorders.map((r) => new RecorderClock(r, random.fork(`clock ${r.name}`)));
  const shift = Math.max(...clocks.flatMap((c) => [0, scene.durationSec].map((t) => Math.abs(c.offsetSec(t)))));
  const padFrames = Math.ceil((shift + 0.1) * fs), startSec = -padFrames / fs;
  const frames = Math.round(scene.durationSec * fs) + 2 * padFrames;
  const wearers = scene.birds.map((_, i) => i).filter((i) => scene.birds[i].tagged);
  const plan: ScenePlan = {
    scene, choreography, clocks, startSec, frames,
    body: planBodyNoise(scene, choreography.moves, random),
    roomEvents: planRoomNoise(scene, random),
    faults: planLinkFaults(scene, planned, random),
    gains: wearers.map((b) => new GainCourse(scene.birds[b].tag, startSec, startSec + frames / fs, random.fork(`gain ${scene.birds[b].name}`))),
  };
  const microphones = wearers.map((bird): Microphone => ({
    bird, tag: scene.birds[bird].tag, sum: new Float32Array(frames), ...(options.ownVoice ? { own: new Float32Array(frames) } : {}),
  }));
  const stage = new Stage(new Room(scene.room, fs, random.fork('room')), microphones, fs);
  const obstacleSeed = random.fork('obstacles').seed;
  const total = planned.length + plan.roomEvents.length + 1;
  const played = planned.map((call, i) => { options.onProgress?.(i, total); return playCall(plan, stage, call, obstacleSeed); });
  plan.roomEvents.forEach((e, i) => { options.onProgress?.(planned.length + i, total); playRoomEvent(plan, stage, e); });
  for (const e of plan.body) playBodyEvent(plan, stage, e);
  const tracks = finishTracks(plan, microphones, random);
  options.onProgress?.(total, total);
  return {
    sampleRateHz: fs, bits: scene.bits,
    tracks: tracks.map((t) => ({ bird: t.bird, recorder: t.recorder, samples: t.samples, ...(t.ownVoice ? { ownVoice: t.ownVoice } : {}) })),
    truth: listTruth(plan, played, tracks), events: listEvents(plan), clock: listClockRows(plan),
  };
}

function listen(plan: ScenePlan, stage: Stage, atSec: number, options: (bird: number, perch: number) => PathOptions): Listener[] {
  return stage.microphones.map((m) => {
    const pose = findPose(plan.choreography.poses[m.bird], atSec);
    return { receiver: pose.receiver, options: options(m.bird, pose.perch) };
  });
}

/** Plays a call; afterwards its times are those of the direct sound at the wearer's microphone (untagged: at the same place on its body). */
function playCall(plan: ScenePlan, stage: Stage, call: PlannedCall, obstacleSeed: number): PlayedCall {
  const { scene } = plan, fs = scene.sampleRateHz, bird = scene.birds[call.bird];
  const pose = findPose(plan.choreography.poses[call.bird], call.onsetSec);
  const emitFrame = Math.round((call.startSec - plan.startSec) * fs);
  const travelSec = distance(pose.emitter.positionM, pose.receiver.positionM) / stage.room.soundSpeed + pose.receiver.delaySec;
  const onsetFrame = Math.round((call.onsetSec - call.startSec) * fs), lengthFrames = Math.round((call.offsetSec - call.onsetSec) * fs);
  const onsetSec = plan.startSec + (emitFrame + onsetFrame) / fs + travelSec;
  const others = scene.birds.map((_, i) => i).filter((i) => i !== call.bird)
    .map((i) => distance(findPose(plan.choreography.poses[i], call.onsetSec).receiver.positionM, pose.receiver.positionM));
  const listeners = listen(plan, stage, call.onsetSec, (other, perch) => {
    const tag = scene.birds[other].tag;
    if (other === call.bird) return { own: true, liftDb: tag.liftDb, liftHz: tag.liftHz };
    const apart = distance(findPose(plan.choreography.poses[other], call.onsetSec).receiver.positionM, pose.receiver.positionM);
    // Birds that touch hear some of each other through the body.
    if (apart < 0.07) return { liftDb: 0.4 * tag.liftDb, liftHz: tag.liftHz };
    const key = hashLabel(obstacleSeed, `${call.bird}.${pose.perch}-${other}.${perch}`) / 4294967296;
    return { obstacleDb: key < scene.room.obstacleShare ? scene.room.obstacleDb : 0 };
  });
  const powers = stage.emit({
    samples: call.samples, startFrame: emitFrame, windowStart: onsetFrame, windowEnd: onsetFrame + lengthFrames, emitter: pose.emitter, ownBird: bird.tagged ? call.bird : -1,
  }, dbToGain(call.levelDb) * NOMINAL_MOUTH_M, listeners);
  return { ...call, onsetSec, offsetSec: onsetSec + lengthFrames / fs, powers, nearestM: others.length > 0 ? Math.min(...others) : Infinity };
}

function playRoomEvent(plan: ScenePlan, stage: Stage, e: RoomEvent): void {
  stage.emit({
    samples: e.samples, startFrame: Math.round((e.startSec - plan.startSec) * plan.scene.sampleRateHz), windowStart: 0, windowEnd: e.samples.length,
    emitter: { positionM: e.positionM, heading: [0, 0, 1], directivityDb: 0 }, ownBird: -1,
  }, dbToGain(e.levelDb) * NOMINAL_MOUTH_M, listen(plan, stage, e.startSec, () => ({})));
}

/** Body sounds: loud by contact on the own track, faint in the air for others (direct sound only: it drowns beyond arm's length). */
function playBodyEvent(plan: ScenePlan, stage: Stage, e: BodyEvent): void {
  const fs = plan.scene.sampleRateHz, start = Math.round((e.startSec - plan.startSec) * fs);
  const here = findPose(plan.choreography.poses[e.bird], e.startSec).receiver.positionM;
  for (const m of stage.microphones) {
    let db = e.levelDb, delay = 0;
    if (m.bird !== e.bird) {
      const r = Math.max(NOMINAL_MOUTH_M, distance(findPose(plan.choreography.poses[m.bird], e.startSec).receiver.positionM, here));
      db += plan.scene.bodyNoise.airborneDb + powerToDb((NOMINAL_MOUTH_M / r) ** 2);
      delay = Math.round((r / stage.room.soundSpeed) * fs);
      if (db < m.tag.noiseDb - 15) continue;
    }
    const wet = e.samples.slice(), gain = dbToGain(db);
    filterThroughTag(wet, m.tag, fs);
    for (let i = 0; i < wet.length; i++) { const at = start + delay + i; if (at >= 0 && at < m.sum.length) m.sum[at] += gain * wet[i]; }
  }
}
