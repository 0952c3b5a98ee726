import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { VolaryError } from '../../src/schema/errors.js';
import { parseScene } from '../../src/simulate/parse-scene.js';
import { drawRandomScene, SCENE_PRESETS } from '../../src/simulate/random-scene.js';
import { makeQuietScene } from './support.js';

function complain(change: (scene: any) => void): VolaryError {
  const scene = structuredClone(makeQuietScene());
  change(scene);
  try { parseScene(scene); } catch (error) { return error as VolaryError; }
  throw new Error('no complaint');
}

describe('scene errors name the place', () => {
  it.each<[string, (s: any) => void, string, string]>([
    ['wrong type', (s) => { s.birds[1].tag.gainDb = 'loud'; }, 'birds[1].tag.gainDb', 'number'],
    ['missing key', (s) => { delete s.birds[0].voice; }, 'birds[0]', "'voice' is missing"],
    ['unknown key', (s) => { s.room.heigth = 2; }, 'room', "'heigth'"],
    ['out of range', (s) => { s.sampleRateHz = 4000; }, 'sampleRateHz', '8000'],
    ['bad choice', (s) => { s.voices.v.calls[0].kind = 'song'; }, 'voices.v.calls[0].kind', 'whistle'],
    ['no such voice', (s) => { s.birds[1].voice = 'w'; }, 'birds[1].voice', 'no such voice'],
    ['perch outside', (s) => { s.birds[0].perchesM[0][2] = 9; }, 'birds[0].perchesM[0][2]', 'outside the room'],
    ['same name', (s) => { s.birds[1].name = 'red'; }, 'birds[1].name', 'share a name'],
    ['reserved name', (s) => { s.birds[1].name = 'none'; }, 'birds[1].name', 'without a tag'],
    ['no such recorder', (s) => { s.birds[1].recorder = '7'; }, 'birds[1].recorder', 'no such recorder'],
    ['backward range', (s) => { s.calling = { replyLatencySec: [0.4, 0.1] }; }, 'calling.replyLatencySec', 'backwards'],
    ['breakthrough of nobody', (s) => { s.link = { breakthrough: [{ from: 'red', to: 'green' }] }; }, 'link.breakthrough[0].to', 'tagged bird'],
    ['call of nobody', (s) => { s.calls[0].bird = 'green'; }, 'calls[0].bird', 'no such bird'],
    ['reference clock that drifts', (s) => { s.recorders = [{ name: '1', driftPpm: 3 }]; }, 'recorders[0]', 'reference clock'],
    ['samples without files', (s) => { s.voices.v.calls[0].kind = 'samples'; }, 'voices.v.calls[0].samples', 'sample files'],
    ['a name that is a path', (s) => { s.birds[0].name = '../red'; }, 'birds[0].name', 'match'],
  ])('%s', (_, change, where, what) => {
    const error = complain(change);
    expect(error).toBeInstanceOf(VolaryError);
    expect(error.code).toBe('bad-scene');
    expect(error.detail.where).toBe(where);
    expect(error.message).toContain(what);
    expect(error.message).not.toContain('\n');
  });

  it.each([null, 3, 'text', [], {}])('%j is no scene', (value) => { expect(() => parseScene(value)).toThrow(VolaryError); });
});

describe('parsing', () => {
  it('fills in defaults and leaves its input alone', () => {
    const scene = makeQuietScene(), before = JSON.stringify(scene);
    expect(parseScene(scene).birds[0].tag.gainDb).toBe(0);
    expect(JSON.stringify(scene)).toBe(before);
  });

  it('takes the example scenes', () => {
    const folder = new URL('../../fixtures/scenes/', import.meta.url);
    const names = readdirSync(folder).filter((n) => n.endsWith('.json'));
    expect(names.length).toBeGreaterThan(1);
    for (const name of names) expect(parseScene(JSON.parse(readFileSync(new URL(name, folder), 'utf8'))).birds.length).toBeGreaterThan(0);
  });
});

describe('random scenes', () => {
  it.each(SCENE_PRESETS)('%s: every draw is a valid scene, and the same for the same seed', (preset) => {
    const rates = new Set<number>();
    for (let seed = 0; seed < 40; seed++) {
      const scene = drawRandomScene(seed, preset), full = parseScene(scene);
      rates.add(full.sampleRateHz);
      expect(full.birds.filter((b) => b.tagged).length).toBeGreaterThanOrEqual(2);
      expect(JSON.stringify(drawRandomScene(seed, preset))).toBe(JSON.stringify(scene));
      const perches = full.birds.flatMap((b) => b.perchesM);
      for (let i = 0; i < perches.length; i++) for (let j = 0; j < i; j++) expect(Math.hypot(...perches[i].map((v, k) => v - perches[j][k]))).toBeGreaterThan(0.038);
    }
    expect(rates.size).toBeGreaterThan(1);
  });

  it('two-clocks has birds on every recorder', () => {
    for (let seed = 0; seed < 20; seed++) {
      const scene = parseScene(drawRandomScene(seed, 'two-clocks'));
      for (const r of scene.recorders) expect(scene.birds.some((b) => b.tagged && b.recorder === r.name)).toBe(true);
    }
  });

  it('refuses an unknown preset', () => { expect(() => drawRandomScene(1, 'noisy' as never)).toThrow(/no such preset/); });
});

