import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync, utimesSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import { attributeToFolder } from '../../src/node/attribute-to-folder.js';
import { mergeParts, planParts, runPart } from '../../src/node/parts-to-folder.js';
import { simulateScene } from '../../src/simulate/simulate-scene.js';
import { makeScene } from '../browser/small-scene.js';

const folder = mkdtempSync(join(tmpdir(), 'volary-'));
const study = join(folder, 'study.json');
const red = join(folder, 'red.wav');
let wanted: Record<string, string> = {};

/** Someone touches a recording as soon as a stage has done its first piece: from then on it is another file for those who read it. */
function touchIn(stage: string): { onProgress(stage: string): void; notes: string[]; onNote(text: string): void; workers: number } {
  const notes: string[] = [];
  let isDone = false;
  return {
    workers: 0, notes, onNote: (text) => notes.push(text),
    onProgress(now) {
      if (now !== stage || isDone) return;
      isDone = true;
      utimesSync(red, new Date(), new Date(Date.now() + 5000 * ++touches));
    },
  };
}
let touches = 0;

function readTables(from: string): Record<string, string> {
  return Object.fromEntries(readdirSync(from).filter((n) => n.endsWith('.csv')).map((n) => [n, readFileSync(join(from, n), 'latin1')]));
}

beforeAll(async () => {
  const scene = makeScene(25, 1);
  const simulated = simulateScene({ ...scene, birds: scene.birds!.slice(0, 2) }, 5);
  for (const t of simulated.tracks) {
    // Repeated to 150 s: two blocks of evidence.
    const samples = new Float32Array(t.samples.length * 6);
    for (let k = 0; k < 6; k++) samples.set(t.samples, k * t.samples.length);
    writeFileSync(join(folder, `${t.bird}.wav`), buildWavFile({ sampleRateHz: simulated.sampleRateHz, encoding: 'pcm16' }, [samples]));
  }
  writeFileSync(study, JSON.stringify({ volary: 1, name: 'unread', recorders: [{ name: '1' }], tracks: simulated.tracks.map(({ bird }) => ({ bird, recorder: '1', files: [{ path: `${bird}.wav`, channel: 1 }] })) }));
  expect((await attributeToFolder(study, join(folder, 'whole'), { workers: 0 })).complete).toBe(true);
  wanted = readTables(join(folder, 'whole'));
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('a recording that cannot be read for a while', () => {
  it('leaves no evidence of silence in a part: the part is not done, and once more it is', async () => {
    const out = join(folder, 'parts-result'), block = (n: number): boolean => existsSync(join(out, 'parts', `block-00000${n}.part`));
    expect((await planParts(study, out, 2, { workers: 0 })).complete).toBe(true);
    const hit = touchIn('extraction');
    const failed = await runPart(study, out, 1, hit);
    expect(failed).toMatchObject({ complete: false, text: 'unread: part 1 of 2 is not done: recordings could not be read, and what rests on them was not kept; run --part 1 again' });
    expect(hit.notes).toEqual([expect.stringMatching(/^error: .*red\.wav": file changed while it was being read/)]);
    expect(block(0)).toBe(false);
    expect((await runPart(study, out, 2, { workers: 0 })).complete).toBe(true);
    await expect(mergeParts(study, out, {})).rejects.toMatchObject({ code: 'no-data', message: expect.stringContaining('got parts not done: 1; run these again') });
    expect((await runPart(study, out, 1, { workers: 0 })).complete).toBe(true);
    expect((await mergeParts(study, out, {})).complete).toBe(true);
    expect(readTables(out)).toEqual(wanted);
  });

  it.each(['survey', 'calibration', 'calibration, once more'])('leaves no plan where it failed during the %s, and planning again ends in the same tables', async (stage) => {
    const out = join(folder, `plan-${stage.length}`);
    const failed = await planParts(study, out, 2, touchIn(stage));
    expect(failed).toMatchObject({ complete: false, text: expect.stringMatching(/^unread: the plan is not finished: .*; run --plan 2 again$/) });
    expect(readdirSync(join(out, 'parts'))).not.toContain('calibration.part');
    expect(readdirSync(join(out, 'parts'))).not.toContain('plan.json');
    await expect(runPart(study, out, 1, { workers: 0 })).rejects.toThrow('the plan is not finished');
    await planParts(study, out, 2, { workers: 0 });
    for (const part of [1, 2]) await runPart(study, out, part, { workers: 0 });
    await mergeParts(study, out, {});
    expect(readTables(out)).toEqual(wanted);
  });

  it.each(['survey', 'extraction'])('in the %s of a run that is stopped later does not reach the tables of the run that goes on', async (stage) => {
    const out = join(folder, `resumed-${stage}`), hit = touchIn(stage);
    const onProgress = (now: string, done?: number, total?: number): void => {
      hit.onProgress(now);
      // At the last cell: by then one of the two blocks is done.
      if (now === 'extraction' && done === total) throw new Error('stopped');
    };
    await expect(attributeToFolder(study, out, { ...hit, onProgress })).rejects.toThrow('stopped');
    expect(readdirSync(join(out, 'unfinished')).filter((n) => n.startsWith('block'))).toEqual([]);
    expect((await attributeToFolder(study, out, { workers: 0 })).complete).toBe(true);
    expect(readTables(out)).toEqual(wanted);
  });
});

describe('a recording that was replaced by another of the same length', () => {
  it('is named by the part and by the run that goes on, even where only its middle differs', async () => {
    const out = join(folder, 'replaced'), bytes = readFileSync(red), changed = Buffer.from(bytes);
    await planParts(study, out, 2, { workers: 0 });
    changed[changed.length >> 1] ^= 0x10;
    writeFileSync(red, changed);
    await expect(runPart(study, out, 1, { workers: 0 })).rejects.toMatchObject({ code: 'stale', message: expect.stringMatching(/does not fit: content of "red\.wav" differs; got .*; give the study/) });
    writeFileSync(red, bytes);
    expect((await runPart(study, out, 1, { workers: 0 })).complete).toBe(true);
  });
});
