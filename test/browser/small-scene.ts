import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import type { Scene } from '../../src/simulate/scene.js';
import { simulateScene, type SimulatedScene } from '../../src/simulate/simulate-scene.js';
import { formatTruthTables } from '../../src/simulate/truth-tables.js';

/** Four birds of one invented species in a small room, on one recorder or on two. */
export function makeScene(durationSec: number, recorderCount: 1 | 2): Scene {
  return {
    title: 'four birds', durationSec, sampleRateHz: 32000,
    room: { sizeM: [2.2, 1.7, 2], rt60Sec: 0.2 },
    recorders: recorderCount === 1 ? [{ name: '1' }] : [{ name: '1' }, { name: '2', offsetSec: 0.731, driftPpm: 14 }],
    voices: {
      finch: {
        individuality: 0.3,
        calls: [
          { name: 'contact', kind: 'stack', share: 2, freqHz: 580, durationSec: [0.05, 0.08], levelDb: [-12, -6], contour: 'arch', sweepOct: 0.1, formants: [{ freqHz: 3200, widthHz: 1500, gainDb: 0 }, { freqHz: 5600, widthHz: 1500, gainDb: -6 }] },
          { name: 'distance', kind: 'stack', share: 2, freqHz: 650, durationSec: [0.12, 0.2], levelDb: [-3, 5], contour: 'down', sweepOct: 0.25, formants: [{ freqHz: 2700, widthHz: 1200, gainDb: 0 }, { freqHz: 4400, widthHz: 1100, gainDb: -3 }] },
        ],
      },
    },
    birds: [
      { name: 'red', voice: 'finch', recorder: '1', perchesM: [[0.5, 0.6, 1.2]], callsPerMin: 30 },
      { name: 'blue', voice: 'finch', recorder: '1', perchesM: [[0.9, 1.3, 1.5]], callsPerMin: 30, tag: { gainDb: -5 } },
      { name: 'green', voice: 'finch', recorder: recorderCount === 1 ? '1' : '2', perchesM: [[1.4, 0.4, 1]], callsPerMin: 30, tag: { gainDb: 4 } },
      { name: 'white', voice: 'finch', recorder: recorderCount === 1 ? '1' : '2', perchesM: [[1.8, 1.2, 0.8]], callsPerMin: 30 },
    ],
    calling: { replyProbability: 0.3, overlapShare: 0.1 },
  };
}

/** Simulates a scene into a folder: one 16-bit WAV per bird and channels.csv. Returns the paths of all files and the scene. */
export function writeScene(folder: string, durationSec: number, recorderCount: 1 | 2): { paths: string[]; scene: SimulatedScene } {
  mkdirSync(folder, { recursive: true });
  const scene = simulateScene(makeScene(durationSec, recorderCount), 5);
  const files = new Map<string, string | Uint8Array>(scene.tracks.map((t) => [`${t.bird}.wav`, buildWavFile({ sampleRateHz: scene.sampleRateHz, encoding: 'pcm16' }, [t.samples])]));
  files.set('channels.csv', formatTruthTables(scene, (bird) => `${bird}.wav`).channels);
  for (const [name, content] of files) writeFileSync(join(folder, name), content);
  return { paths: [...files.keys()].map((name) => join(folder, name)), scene };
}
