import { describe, expect, it } from 'vitest';
import { attributeTracks } from '../../src/node/attribute-tracks.js';
import type { CallRow } from '../../src/schema/rows.js';
import { scoreCalls } from '../../src/score/score-calls.js';
import { listen, makeScene, setUp } from './live-scene.js';

/**
 * 'Right time and right bird' F1 against the truth as measured (2026-11-27), watch and attribute: easy 6000 1.000 and 1.000, normal 6100 .969 and .993,
 * two-clocks 6300 .897 and .971 (a clock learned from a minute). The floors are .05 below the lower of both: a few calls more that go wrong. Agreement of
 * the two tables was 1.000, .977 and .887, its floors are .05 below too; the sure calls behind and the context ahead, which watch lacks, decide a few doubtful calls the other way.
 */
const SCENES = [['easy', 6000, 60, 20, 0.95, 0.95], ['normal', 6100, 90, 30, 0.919, 0.927], ['two-clocks', 6300, 90, 60, 0.847, 0.837]] as const;

const asLabels = (rows: readonly { bird: string; onsetSec: number; offsetSec: number }[]) => rows.map(({ bird, onsetSec, offsetSec }) => ({ bird, onsetSec, offsetSec, extra: {} }));
const measureF1 = (rows: CallRow[], labels: readonly { bird: string; onsetSec: number; offsetSec: number }[]): number => scoreCalls(rows, asLabels(labels), { resamples: 1 }).rightBird.f1.value ?? 0;

describe('calls of a stream', () => {
  it.each(SCENES)('%s %i: as good as those of the whole recording, and there within 2 s of stream time', async (preset, seed, sec, warmUpSec, leastF1, leastAgreement) => {
    const scene = makeScene(preset, seed, sec);
    const { setup, bytes } = setUp(scene);
    const heard = await listen(setup, bytes, warmUpSec);
    const whole = await attributeTracks({
      birds: scene.tracks.map((t) => t.bird), signals: scene.tracks.map((t) => t.samples), recorders: scene.tracks.map((t) => t.recorder), sampleRateHz: scene.sampleRateHz,
    });
    expect(measureF1(heard.rows, scene.truth)).toBeGreaterThanOrEqual(leastF1);
    expect(measureF1(whole.calls, scene.truth)).toBeGreaterThanOrEqual(leastF1);
    expect(measureF1(heard.rows, whole.calls)).toBeGreaterThanOrEqual(leastAgreement);
    expect(heard.rows.map((r) => r.callId)).toEqual(heard.rows.map((_, n) => n + 1));
    // The warm-up's calls are late, and said to be.
    const live = heard.rows.map((r, n) => ({ ...r, heardSec: heard.heardSec[n] })).filter((r) => r.heardSec > warmUpSec + 0.36);
    expect(live.length).toBeGreaterThan(5);
    expect(heard.notes.join()).toMatch(/warm-up over/);
    for (const r of live) {
      expect(r.heardSec - r.offsetSec).toBeLessThanOrEqual(2);
      expect(r.heardSec).toBeGreaterThan(r.offsetSec);
    }
  });

  // Measured .956 and .921 (.128 and .806 without the filter of steady noise), .05 below.
  it.each([[0, 0, 0.906], [40, 92, 0.87]])('are found beside a whistle that begins at %i s, from %i s on', async (fromSec, countedSec, least) => {
    const scene = makeScene('normal', 6100, 125), fs = scene.sampleRateHz;
    scene.tracks.forEach((t, j) => { for (let n = fromSec * fs; n < t.samples.length; n++) t.samples[n] += 0.03 * Math.sin((2 * Math.PI * 3000 * n) / fs + j); });
    const { setup, bytes } = setUp(scene);
    const { rows } = await listen(setup, bytes, 30);
    const isCounted = (r: { onsetSec: number }): boolean => r.onsetSec >= countedSec;
    expect(measureF1(rows.filter(isCounted), scene.truth.filter(isCounted))).toBeGreaterThanOrEqual(least);
  });

  it('are the same however the bytes arrive', async () => {
    const { setup, bytes } = setUp(makeScene('easy', 6001, 40));
    const one = await listen(setup, bytes, 15);
    expect(one.rows.length).toBeGreaterThan(5);
    expect(await listen(setup, bytes, 15, 4097)).toEqual(one);
    expect(await listen(setup, bytes, 15, 1 << 22)).toEqual(one);
  });

  it('are given for a stream that ends before its warm-up', async () => {
    const scene = makeScene('easy', 6000, 20);
    const { setup, bytes } = setUp(scene);
    const heard = await listen(setup, bytes, 60);
    expect(heard.notes.join()).toMatch(/ended before the warm-up was over/);
    expect(measureF1(heard.rows, scene.truth)).toBeGreaterThanOrEqual(0.9);
  });
});

describe('links of a stream', () => {
  it('are told to be dead when a track is silent, stands still or holds the noise of a lost link, and to be back', async () => {
    const scene = makeScene('normal', 6100, 62);
    const fs = scene.sampleRateHz;
    const [a, b, c] = scene.tracks.map((t) => t.samples);
    a.fill(0, 34 * fs, 44 * fs);
    b.fill(0.1, 36 * fs, 46 * fs);
    for (let n = 38 * fs, x = 1; n < 52 * fs; n++) { x = (Math.imul(x, 1664525) + 1013904223) >>> 0; c[n] = (x / 2 ** 32 - 0.5) * 0.6; }
    const { setup, bytes } = setUp(scene);
    const { warnings } = await listen(setup, bytes, 30);
    const birds = scene.tracks.map((t) => t.bird);
    const link = warnings.filter((w) => w.kind === 'dead-link' || w.kind === 'link-back').map((w) => `${birds.indexOf(w.track)} ${w.kind}`);
    expect(link.sort()).toEqual(['0 dead-link', '0 link-back', '1 dead-link', '1 link-back', '2 dead-link', '2 link-back']);
    const find = (track: number, kind: string): number => warnings.find((w) => w.track === birds[track] && w.kind === kind)!.timeSec;
    // Dead for 5 s, back for 2 s, found in steps of a third of a second; a step of which a part was well counts as well.
    [34, 36, 38].forEach((from, j) => {
      const to = [44, 46, 52][j];
      expect(find(j, 'dead-link')).toBeGreaterThanOrEqual(from + 5);
      expect(find(j, 'dead-link')).toBeLessThan(from + 6.5);
      expect(find(j, 'link-back')).toBeGreaterThanOrEqual(to + 2 - 0.36);
      expect(find(j, 'link-back')).toBeLessThan(to + 3.5);
    });
    expect(warnings.find((w) => w.track === birds[0])!.text).toMatch(/silence/);
    expect(warnings.find((w) => w.track === birds[2])!.text).toMatch(/noise of a receiver/);
  });
});
