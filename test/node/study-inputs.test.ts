import { mkdtemp, rename, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { beforeEach, describe, expect, it } from 'vitest';
import { buildWavFile } from '../../src/audio/wav-writer.js';
import { loadStudy } from '../../src/node/study-files.js';
import type { StudyOnDisk } from '../../src/node/study-files.js';
import { describeInputs, requireResultOf } from '../../src/node/study-inputs.js';
import { makeNoise } from '../kernels/support.js';

let folder: string;
beforeEach(async () => { folder = await mkdtemp(join(tmpdir(), 'volary-')); });

const writeSound = (name: string, seed: number, frames = 8000): Promise<void> => writeFile(join(folder, name), buildWavFile({ sampleRateHz: 8000, encoding: 'pcm16' }, [Float32Array.from(makeNoise(frames, seed))]));

async function openStudy(paths: string[]): Promise<StudyOnDisk> {
  const manifest = join(folder, 'study.json');
  await writeFile(manifest, JSON.stringify({ volary: 1, name: 'x', recorders: [{ name: '1' }], tracks: paths.map((path, n) => ({ bird: `b${n}`, recorder: '1', files: [{ path, channel: 1 }] })) }));
  return loadStudy(manifest);
}

const writeRecord = async (study: StudyOnDisk): Promise<void> => writeFile(join(folder, 'run.json'), JSON.stringify({ inputs: await describeInputs(study) }));

describe('the result of a study', () => {
  it('is known by its recordings, though they were named anew', async () => {
    await Promise.all([writeSound('a.wav', 1), writeSound('b.wav', 2)]);
    const study = await openStudy(['a.wav', 'b.wav']);
    await writeRecord(study);
    expect(await requireResultOf(study, folder)).toBe(true);
    await rename(join(folder, 'b.wav'), join(folder, 'c.wav'));
    expect(await requireResultOf(await openStudy(['a.wav', 'c.wav']), folder)).toBe(true);
  });

  it.each([
    ['other sound', async () => { await writeSound('b.wav', 3); return ['a.wav', 'b.wav']; }, /"b.wav" holds other sound; got SHA-256 /],
    ['another length', async () => { await writeSound('b.wav', 2, 9000); return ['a.wav', 'b.wav']; }, /"b.wav" has another length; got 16044 bytes; expected 18044 as in the study/],
    ['one file more', async () => { await writeSound('d.wav', 4); return ['a.wav', 'b.wav', 'd.wav']; }, /"d.wav" of the study was not among them/],
    ['one file less', async () => { await writeSound('d.wav', 1); return ['a.wav']; }, /"b.wav" is not in the study/],
  ])('is refused for a study with %s', async (_, change, message) => {
    await Promise.all([writeSound('a.wav', 1), writeSound('b.wav', 2)]);
    await writeRecord(await openStudy(['a.wav', 'b.wav']));
    const other = await openStudy(await change());
    await expect(requireResultOf(other, folder)).rejects.toMatchObject({ code: 'not-fit', message: expect.stringMatching(message) as string });
  });

  it('is not known where no record names recordings', async () => {
    await Promise.all([writeSound('a.wav', 1), writeSound('b.wav', 2)]);
    const study = await openStudy(['a.wav', 'b.wav']);
    expect(await requireResultOf(study, folder)).toBe(false);
    await writeFile(join(folder, 'run.json'), '{"name":"simulated"}');
    expect(await requireResultOf(study, folder)).toBe(false);
  });

  it('is still the result where a recording is gone', async () => {
    await Promise.all([writeSound('a.wav', 1), writeSound('b.wav', 2)]);
    await writeRecord(await openStudy(['a.wav', 'b.wav']));
    await rename(join(folder, 'b.wav'), join(folder, 'elsewhere'));
    expect(await requireResultOf(await openStudy(['a.wav', 'b.wav']), folder)).toBe(true);
  });
});
