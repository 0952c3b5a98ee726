import type { FullRoom, Scene } from '../../src/simulate/scene.js';
import type { Emitter, Receiver } from '../../src/simulate/room.js';
import type { Vec3 } from '../../src/simulate/vector.js';

export function makeRoom(part: Partial<FullRoom>): FullRoom {
  return { sizeM: [4, 3, 2.5], rt60Sec: 0.3, highRatio: 0.7, temperatureC: 20, humidityPct: 50, pressureKpa: 101.325, scatter: 0, obstacleShare: 0, obstacleDb: 0, ...part };
}

export function makeEmitter(positionM: Vec3): Emitter { return { positionM, heading: [1, 0, 0], directivityDb: 0 }; }

export function makeReceiver(positionM: Vec3): Receiver { return { positionM, up: [0, 0, 1], shadowDb: 0, delaySec: 0 }; }

const SILENCE = {
  background: { levelDb: -140, rumbleDb: -140 },
  bodyNoise: { wingPerMin: 0, preenPerMin: 0, scratchPerMin: 0, peckPerMin: 0, hopPerMin: 0, shakePerMin: 0 },
  roomNoise: { cagePerMin: 0 },
};
export const SILENT_TAG = { noiseDb: -120, receiverNoiseDbfs: -200, lowCutHz: 0, highCutHz: 96000, liftDb: 0, shadowDb: 0 };

/** Two birds half a metre apart in a room without echo or noise; calls as given. */
export function makeQuietScene(part: Scene = {}): Scene {
  return {
    durationSec: 4, sampleRateHz: 44100, room: { sizeM: [4, 3, 2.5], reflection: 0, temperatureC: 20 }, ...SILENCE,
    voices: { v: { calls: [{ kind: 'stack', name: 'stack', freqHz: 700, durationSec: [0.12, 0.12] }] } },
    birds: [
      { name: 'red', voice: 'v', perchesM: [[1.5, 1.5, 1.2]], tag: { ...SILENT_TAG }, directivityDb: 0 },
      { name: 'blue', voice: 'v', perchesM: [[2, 1.5, 1.2]], tag: { ...SILENT_TAG }, directivityDb: 0 },
    ],
    calls: [{ bird: 'red', onsetSec: 1, levelDb: 0 }, { bird: 'blue', onsetSec: 2.5, levelDb: -6 }],
    ...part,
  };
}

export function rmsDb(x: ArrayLike<number>, from = 0, to = x.length): number {
  let s = 0;
  for (let i = from; i < to; i++) s += x[i] * x[i];
  return 10 * Math.log10(s / (to - from) + 1e-30);
}
