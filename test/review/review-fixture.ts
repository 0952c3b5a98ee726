import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import type { CallRow } from '../../src/schema/rows.js';
import { formatCsv } from '../../src/table/csv-table.js';
import { callTable, clockTable, soundTable, trackTable } from '../../src/table/table-specs.js';
import { newFolder } from '../cli/run-cli.js';

export const RATE = 32000;
export const BIRDS = ['blue', 'green', 'red'];

/** Three tracks of 10 s: each call is a tone on its bird's track, 20 dB softer and 2 ms later on the others. Tables as if they had been attributed. */
export function writeResult(): { folder: string; recording: string; calls: CallRow[] } {
  const base = newFolder();
  const recording = join(base, 'recording');
  const folder = join(base, 'result');
  for (const f of [recording, folder]) mkdirSync(f);
  const calls = Array.from({ length: 30 }, (_, k): CallRow => ({
    callId: k + 1, bird: BIRDS[k % 3], onsetSec: 0.3 + k * 0.3, offsetSec: 0.4 + k * 0.3, onsetUtc: '', probability: k % 5 === 0 ? 0.7 : 0.95, track: BIRDS[k % 3], levelDb: -20, snrDb: 30,
    peakHz: 2000, overlaps: 0, runnerUp: BIRDS[(k + 1) % 3], runnerUpProbability: 0.04,
  }));
  const tracks = BIRDS.map((bird) => makeTrack(bird, calls));
  BIRDS.forEach((bird, j) => writeFileSync(join(recording, `${bird}.wav`), buildWavFile({ sampleRateHz: RATE, encoding: 'pcm16' }, [tracks[j]])));
  const study = { volary: 1, name: 'Three birds', start: '2031-05-01T06:00:00Z', recorders: [{ name: '1' }], tracks: BIRDS.map((bird) => ({ bird, recorder: '1', files: [{ path: `${bird}.wav`, channel: 1 }] })) };
  const hours = BIRDS.map((bird) => ({ track: bird, recorder: '1', startSec: 0, usableSec: 9.5, noiseFloorDb: -70, gainDb: 0, lostShare: 0.05 }));
  writeFileSync(join(recording, 'study.json'), JSON.stringify(study));
  const texts = {
    'calls.csv': formatCsv(callTable, calls), 'sounds.csv': formatCsv(soundTable, [{ kind: 'body', track: 'red', onsetSec: 2.5, offsetSec: 2.55, levelDb: -40, source: '' }]), 'clock.csv': formatCsv(clockTable, []),
    'tracks.csv': formatCsv(trackTable, hours), 'run.json': JSON.stringify({ study: join(recording, 'study.json'), name: study.name, gainsDb: { blue: 0, green: 0, red: 0 }, settings: { bandHz: [400, 11000] } }),
    'network.csv': 'caller,replier,edge,excess\nblue,green,reply,0.4\ngreen,red,none,0.01\n', 'rates.csv': 'bird,what,per_hour,low,high,quasi_low,quasi_high\nblue,calls,3600,3000,4200,,\ngreen,calls,3500,2900,4100,,\n',
    'habituation.csv': 'bird,after,day,measure,change,low,high,verdict\n,fitted,1,calls,-0.5,-0.7,-0.3,different\n,fitted,2,calls,-0.1,-0.3,0.1,undecided\n',
  };
  for (const [name, text] of Object.entries(texts)) writeFileSync(join(folder, name), text);
  return { folder, recording, calls };
}

function makeTrack(bird: string, calls: readonly CallRow[]): Float32Array {
  const out = new Float32Array(10 * RATE);
  let seed = bird.length * 7919;
  for (let i = 0; i < out.length; i++) {
    seed = (Math.imul(seed, 1664525) + 1013904223) | 0;
    out[i] = seed / 2 ** 31 / 2000;
  }
  for (const call of calls) {
    const isOwn = call.bird === bird;
    const start = Math.round((call.onsetSec + (isOwn ? 0 : 0.002)) * RATE);
    const length = Math.round((call.offsetSec - call.onsetSec) * RATE);
    // A chirp, so that the lag has one clear peak.
    for (let i = 0; i < length; i++) out[start + i] += (isOwn ? 0.3 : 0.03) * Math.sin(2 * Math.PI * (1500 + (3000 * i) / length / 2) * (i / RATE)) * Math.sin((Math.PI * i) / length);
  }
  return out;
}
