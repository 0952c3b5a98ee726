import { describe, expect, it } from 'vitest';
import { simulateScene } from '../../src/simulate/simulate-scene.js';
import { drawRandomScene } from '../../src/simulate/random-scene.js';
import { formatTruthTables } from '../../src/simulate/truth-tables.js';
import { makeQuietScene, rmsDb, SILENT_TAG } from './support.js';

const quiet = simulateScene(makeQuietScene(), 4, { ownVoice: true });

describe('levels and times in a quiet scene', () => {
  const [red, blue] = quiet.tracks, fs = quiet.sampleRateHz;

  it('plays each call at the level that truth tells', () => {
    for (const row of quiet.truth) {
      const track = row.bird === 'red' ? red : blue;
      const found = rmsDb(track.samples, Math.round(row.onsetSec * fs), Math.round(row.offsetSec * fs));
      expect(Math.abs(found - row.ownDbfs)).toBeLessThan(0.1);
      // Nominal call: -25 dBFS at 3 cm and 0 dB gain.
      expect(Math.abs(row.ownDbfs - (-25 + row.levelDb))).toBeLessThan(0.3);
    }
  });

  it('is quieter and later at the neighbour by spreading and travel time', () => {
    const row = quiet.truth[0], from = Math.round((row.onsetSec - 0.05) * fs), n = Math.round(0.3 * fs);
    // Mouth 3 cm from the own microphone; to the other 0.47 to 0.53 m according to where red looks.
    const drop = rmsDb(red.samples, from, from + n) - rmsDb(blue.samples, from, from + n);
    expect(drop).toBeGreaterThan(20 * Math.log10(0.47 / 0.03) - 0.3);
    expect(drop).toBeLessThan(20 * Math.log10(0.53 / 0.03) + 0.3);
    let best = 0, bestLag = 0;
    for (let lag = 0; lag < 120; lag++) {
      let c = 0;
      for (let i = from; i < from + n; i++) c += red.samples[i] * blue.samples[i + lag];
      if (c > best) { best = c; bestLag = lag; }
    }
    expect(bestLag / fs).toBeGreaterThan((0.47 - 0.03) / 343.2 - 1 / fs);
    expect(bestLag / fs).toBeLessThan((0.53 - 0.03) / 343.2 + 1 / fs);
  });

  it('gives own-voice tracks that are the track itself where nobody else calls', () => {
    const row = quiet.truth[0];
    for (let i = Math.round((row.onsetSec - 0.02) * fs); i < Math.round((row.offsetSec + 0.02) * fs); i++) expect(Math.abs(red.samples[i] - red.ownVoice![i])).toBeLessThan(2 / 32768);
    const other = quiet.truth[1];
    expect(rmsDb(red.ownVoice!, Math.round(other.onsetSec * fs), Math.round(other.offsetSec * fs))).toBeLessThan(-140);
  });

  it('places explicit calls', () => {
    expect(quiet.truth.map((r) => r.bird)).toEqual(['red', 'blue']);
    expect(Math.abs(quiet.truth[0].onsetSec - 1)).toBeLessThan(0.001);
    expect(quiet.truth[0].overlap).toBe(false);
  });
});

describe('links', () => {
  it('lets another track break through at zero lag, 25 dB down', () => {
    const scene = makeQuietScene({ link: { breakthrough: [{ from: 'red', to: 'blue', levelDb: -25 }] } });
    scene.birds![1].perchesM = [[3.8, 2.8, 2.3]];
    const { tracks, truth, sampleRateHz: fs } = simulateScene(scene, 4);
    const from = Math.round(truth[0].onsetSec * fs), to = Math.round(truth[0].offsetSec * fs);
    let cross = 0, power = 0;
    for (let i = from; i < to; i++) { cross += tracks[0].samples[i] * tracks[1].samples[i]; power += tracks[0].samples[i] ** 2; }
    expect(20 * Math.log10(cross / power)).toBeCloseTo(-25, 0);
  });

  it('replaces the signal by receiver noise while a link is down, and says so', () => {
    const scene = makeQuietScene({ link: { hitCallProbability: 1, burstSec: [1, 1], noiseDb: [3, 3] } });
    scene.calls = [{ bird: 'red', onsetSec: 1.5, levelDb: -10 }];
    const { tracks, truth, events, sampleRateHz: fs } = simulateScene(scene, 9);
    const drop = events.find((e) => e.kind === 'dropout')!;
    const a = Math.round((drop.onsetSec + 0.01) * fs), b = Math.round((drop.offsetSec - 0.01) * fs);
    expect(rmsDb(tracks[0].samples, a, b)).toBeCloseTo(-25 + 3, 0);
    expect(truth[0].lost).toBe(true);
    expect(truth[0].snrDb).toBeCloseTo(-13, 0);
  });

  it('clips at full scale and flags the call', () => {
    const scene = makeQuietScene();
    scene.birds![0] = { ...scene.birds![0], tag: { ...SILENT_TAG, gainDb: 25 } };
    const { tracks, truth } = simulateScene(scene, 4);
    expect(Math.max(...tracks[0].samples.subarray(44100, 50000))).toBe(32767 / 32768);
    expect(truth.map((r) => r.clipped)).toEqual([true, false]);
  });
});

describe('overload', () => {
  it('flattens a loud call before the gain and flags it', () => {
    const scene = makeQuietScene();
    // Peak at 6 dB over the nominal level, then a gain of -10 dB: -25 + 6 - 10 dBFS.
    scene.birds![0] = { ...scene.birds![0], tag: { ...SILENT_TAG, gainDb: -10, overloadDb: 6 } };
    const { tracks, truth } = simulateScene(scene, 4);
    const peak = tracks[0].samples.reduce((m, v) => Math.max(m, Math.abs(v)), 0);
    expect(20 * Math.log10(peak)).toBeCloseTo(-29, 1);
    expect(truth.map((r) => r.clipped)).toEqual([true, false]);
  });
});

describe('a drawn scene', () => {
  const scene = drawRandomScene(11, 'harsh');
  scene.durationSec = 12;
  scene.birds!.forEach((b) => { b.callsPerMin = 12; delete b.tag!.batteryEndSec; });
  scene.link!.breakthrough = [];
  const one = simulateScene(scene, 5), two = simulateScene(scene, 5), other = simulateScene(scene, 6);

  it('has the same bytes for the same seed and others for another', () => {
    one.tracks.forEach((t, i) => expect(Buffer.from(t.samples.buffer).equals(Buffer.from(two.tracks[i].samples.buffer))).toBe(true));
    const tables = (s: typeof one) => formatTruthTables(s, (b) => `${b}.wav`);
    expect(tables(one)).toEqual(tables(two));
    expect(tables(one).truth).not.toBe(tables(other).truth);
  });

  it('has ordered truth, no bird over itself, untagged callers as none', () => {
    expect(one.truth.length).toBeGreaterThan(5);
    const names = new Set(scene.birds!.filter((b) => b.tagged).map((b) => b.name));
    one.truth.forEach((r, i) => {
      expect(r.offsetSec).toBeGreaterThan(r.onsetSec);
      if (i > 0) expect(r.onsetSec).toBeGreaterThanOrEqual(one.truth[i - 1].onsetSec);
      expect(r.bird === 'none' ? r.untaggedId.startsWith('U') : names.has(r.bird)).toBe(true);
      const caller = r.untaggedId || r.bird;
      const clash = one.truth.some((o) => o !== r && (o.untaggedId || o.bird) === caller && o.onsetSec < r.offsetSec && r.onsetSec < o.offsetSec);
      expect(clash).toBe(false);
    });
    for (const t of one.tracks) expect(t.samples.every((v) => Number.isInteger(v * 32768))).toBe(true);
  });

  it('answers 100 to 400 ms after the end of the call answered, as by default', () => {
    const many = simulateScene({ ...makeQuietScene({ durationSec: 60, calls: undefined }), calling: { replyProbability: 0.6, overlapShare: 0 } } as never, 3);
    const replies = many.truth.filter((r) => r.replyTo !== '');
    expect(replies.length).toBeGreaterThan(1);
    for (const r of replies) {
      const gaps = many.truth.filter((o) => o.bird === r.replyTo && o.offsetSec < r.onsetSec).map((o) => r.onsetSec - o.offsetSec);
      expect(gaps.some((g) => g > 0.099 && g < 0.402)).toBe(true);
    }
  });
});
