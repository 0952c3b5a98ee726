// Long recordings for benches: a simulated stretch of 8 birds at 48 kHz, repeated. Call rate, tracks and layout of files are chosen.
import { closeSync, mkdirSync, openSync, writeFileSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import { buildWavHeader, buildWavTrailer, encodeFrames } from '../../dist/audio/wav-writer.js';
import { drawRandomScene } from '../../dist/simulate/random-scene.js';
import { simulateScene } from '../../dist/simulate/simulate-scene.js';

/** A scene of the simulator with so many tagged birds and calls; rates of body and room noise per bird stay those of the preset. */
export function drawBenchScene({ birds = 8, callsPerSec = 1, seconds = 120, sampleRateHz = 48000, seed = 7000, preset = 'normal' }) {
  for (let s = seed; ; s++) {
    const scene = drawRandomScene(s, preset);
    const tagged = scene.birds.filter((b) => b.tagged);
    if (tagged.length < Math.min(birds, 9) || scene.recorders.length > 1) continue;
    const kept = Array.from({ length: birds }, (_, k) => ({ ...tagged[k % tagged.length], name: `B${k + 1}` }));
    const sum = kept.reduce((a, b) => a + b.callsPerMin, 0);
    for (const b of kept) b.callsPerMin *= (60 * callsPerSec) / sum;
    for (const v of Object.values(scene.voices)) delete v.song;
    return { scene: { ...scene, durationSec: seconds, sampleRateHz, birds: kept, link: { ...scene.link, breakthrough: [] } }, seed: s };
  }
}

/**
 * Writes a recording of `minutes` and its manifest: one file of all tracks (`layout` 'one') or one per track ('each').
 * Returns the manifest's path, the number of true calls and the bytes written.
 */
export function writeRecording(folder, { minutes, layout = 'one', encoding = 'pcm16', silentTracks = 0, ...wanted }) {
  mkdirSync(folder, { recursive: true });
  const seconds = wanted.seconds ?? 120;
  const { scene, seed } = drawBenchScene({ ...wanted, seconds });
  const { tracks, truth } = simulateScene(scene, seed);
  const samples = tracks.map((t, k) => (k < tracks.length - silentTracks ? t.samples : new Float32Array(t.samples.length)));
  const repeats = Math.max(1, Math.round((minutes * 60) / seconds));
  const files = layout === 'one' ? [{ name: 'all.wav', channels: samples }] : samples.map((x, k) => ({ name: `${tracks[k].bird}.wav`, channels: [x] }));
  let bytes = 0;
  for (const { name, channels } of files) {
    const part = encodeFrames(channels, encoding);
    const spec = { sampleRateHz: scene.sampleRateHz, encoding, channelCount: channels.length, frameCount: channels[0].length * repeats };
    const file = openSync(join(folder, name), 'w');
    for (const piece of [buildWavHeader(spec), ...Array(repeats).fill(part), buildWavTrailer(spec)]) {
      for (let at = 0; at < piece.length;) at += writeSync(file, piece, at);
      bytes += piece.length;
    }
    closeSync(file);
  }
  const study = join(folder, 'study.json');
  writeFileSync(study, JSON.stringify({
    volary: 1, name: 'bench', recorders: [{ name: '1' }],
    tracks: tracks.map((t, c) => ({ bird: t.bird, recorder: '1', files: [layout === 'one' ? { path: 'all.wav', channel: c + 1 } : { path: `${t.bird}.wav`, channel: 1 }] })),
  }));
  return { study, bytes, trueCalls: truth.length * repeats, durationSec: seconds * repeats, trackCount: tracks.length, sampleRateHz: scene.sampleRateHz };
}
