import type { Command } from 'commander';
import type { SampleAudio } from '../../simulate/repertoire.js';
import type { FullScene, Scene } from '../../simulate/scene.js';
import type { SimulatedScene } from '../../simulate/simulate-scene.js';
import { EXIT, runCommand } from '../io.js';
import type { CommandIo } from '../io.js';
import { addExamples, parseWhole } from '../options.js';

export interface SimulateCommandOptions { out: string; seed: number; random?: string; ownVoice?: boolean; tables?: boolean; force?: boolean; json?: boolean }

/** `volary simulate`: which accuracy would this room give? Makes a recording whose callers are known. */
export function addSimulateCommand(program: Command): void {
  const command = program.command('simulate')
    .description('Simulates an aviary recording from a scene: one WAV file per tagged bird, channels.csv and the truth in the format of labels.')
    .argument('[scene]', 'scene file (JSON): room, birds, tags, links, clocks; or none with --random')
    .requiredOption('-o, --out <dir>', 'folder to write to')
    .option('--seed <n>', 'number that settles everything left to chance', parseWhole(0, 0xffffffff), 1)
    .option('--random <preset>', 'draw the scene at random: easy, normal, crowded, two-clocks, small-species or harsh')
    .option('--own-voice', "also write each bird's own voice alone to DIR/truth/own-voice")
    .option('--tables', 'an invented study of several days as tables without sound: the file describes days, handling and true replies')
    .option('--force', 'replace files that are there')
    .option('--json', 'print the summary as JSON')
    .action((scene: string | undefined, options: SimulateCommandOptions) => runCommand('simulate', async (io) => {
      if (!options.tables) return runSimulate(io, scene, options);
      const { runSimulateDays } = await import('./run-simulate-days.js');
      return runSimulateDays(io, scene, options);
    }));
  addExamples(command, [
    'volary simulate my-aviary.json --out trial --seed 7',
    'volary simulate --random crowded --seed 3 --out trial     the scene drawn is written to trial/scene.json',
    'volary simulate days.json --tables --out week            a week as tables, with the truth beside',
  ]);
}

async function runSimulate(io: CommandIo, scenePath: string | undefined, options: SimulateCommandOptions): Promise<number> {
  const { parseScene } = await import('../../simulate/parse-scene.js');
  const { simulateScene } = await import('../../simulate/simulate-scene.js');
  const { prepareFolder } = await import('../../node/write-files.js');
  const scene = await findScene(scenePath, options);
  const full = await nameFile(scenePath, () => parseScene(scene));
  const birds = full.birds.filter((b) => b.tagged).map((b) => b.name);
  const folder = options.out, write = { overwrite: options.force };
  await prepareFolder(folder, ['scene.json', 'channels.csv', ...birds.map(toFileName)], write);
  await prepareFolder(`${folder}/truth`, ['truth.csv', 'events.csv', 'clock.csv'], write);
  if (options.ownVoice) await prepareFolder(`${folder}/truth/own-voice`, birds.map(toFileName), write);
  const sampleAudio = await loadSamples(full.voices, scenePath);
  let progress: ReturnType<CommandIo['progress']> | undefined;
  const onProgress = (done: number, total: number): void => { progress ??= io.progress('simulating', total, 'sounds'); progress.update(done); };
  const result = simulateScene(scene, options.seed, { ownVoice: options.ownVoice, sampleAudio, onProgress });
  progress?.end();
  await writeResult(folder, await moveSamples(full, scenePath, folder), result, write);
  const summary = summarise(folder, options.seed, full.durationSec, result);
  io.out(io.json ? JSON.stringify(summary, null, 2) : describe(summary));
  return EXIT.done;
}

/** A scene file as it was written; parseScene judges what is in it. */
export async function readScene(path: string): Promise<Scene> {
  const { VolaryError, quoteName } = await import('../../schema/errors.js');
  const { readFile } = await import('node:fs/promises');
  const text = await readFile(path, 'utf8').catch((cause: unknown) => {
    const isMissing = (cause as { code?: string }).code === 'ENOENT';
    throw new VolaryError('unreadable', { what: isMissing ? 'no such file' : 'cannot read the scene', where: quoteName(path), expected: 'a scene (JSON)', mend: 'draw one with --random <preset>' }, { cause });
  });
  try {
    return JSON.parse(text) as Scene;
  } catch (cause) {
    throw new VolaryError('bad-scene', { what: 'not JSON', where: quoteName(path), got: (cause as Error).message }, { cause });
  }
}

async function findScene(path: string | undefined, options: SimulateCommandOptions): Promise<Scene> {
  const { VolaryError } = await import('../../schema/errors.js');
  if ((path === undefined) === (options.random === undefined)) {
    throw new VolaryError('bad-option', { what: path === undefined ? 'no scene' : 'both a scene file and --random', expected: 'a scene file or --random <preset>' });
  }
  if (path === undefined) {
    const { drawRandomScene } = await import('../../simulate/random-scene.js');
    return drawRandomScene(options.seed, options.random as Parameters<typeof drawRandomScene>[1]);
  }
  return readScene(path);
}

/** Puts the name of the scene file before the place inside it. */
export async function nameFile<T>(path: string | undefined, parse: () => T): Promise<T> {
  const { VolaryError, quoteName } = await import('../../schema/errors.js');
  try {
    return parse();
  } catch (error) {
    if (path === undefined || !(error instanceof VolaryError)) throw error;
    throw new VolaryError(error.code, { ...error.detail, where: `${quoteName(path)}, ${error.detail.where ?? 'scene'}` }, { cause: error });
  }
}

function toFileName(bird: string): string { return `${bird}.wav`; }

/** Reads the sample files of all voices, relative to the scene file; channels are averaged. */
export async function loadSamples(voices: Record<string, { calls: { samples: string[] }[] }>, scenePath: string | undefined): Promise<Record<string, SampleAudio>> {
  const { dirname, resolve } = await import('node:path');
  const { openAudioFile } = await import('../../node/study-files.js');
  const loaded: Record<string, SampleAudio> = {};
  for (const name of new Set(Object.values(voices).flatMap((v) => v.calls.flatMap((c) => c.samples)))) {
    const reader = await openAudioFile(resolve(scenePath ? dirname(scenePath) : '.', name));
    try {
      const { channelCount, frameCount, sampleRateHz } = reader.info;
      const channels = Array.from({ length: channelCount }, () => new Float32Array(frameCount));
      for (let done = 0; done < frameCount;) {
        const got = await reader.readFrames(done, frameCount - done, channels, done);
        if (got === 0) break;
        done += got;
      }
      const samples = channels[0];
      for (const other of channels.slice(1)) for (let i = 0; i < frameCount; i++) samples[i] += other[i];
      loaded[name] = { samples, sampleRateHz };
    } finally {
      await reader.close();
    }
  }
  return loaded;
}

/** Sample files are named relative to the scene file: the copy of the scene lies elsewhere. */
async function moveSamples(scene: FullScene, scenePath: string | undefined, folder: string): Promise<FullScene> {
  const { dirname, relative, resolve, sep } = await import('node:path');
  const copy = structuredClone(scene), from = scenePath ? dirname(scenePath) : '.';
  for (const voice of Object.values(copy.voices)) for (const call of voice.calls) call.samples = call.samples.map((name) => relative(folder, resolve(from, name)).split(sep).join('/'));
  return copy;
}

async function writeResult(folder: string, scene: object, result: SimulatedScene, write: { overwrite?: boolean }): Promise<void> {
  const { writeFileAtomic } = await import('../../node/write-files.js');
  const { buildWavFile } = await import('../../audio/wav-writer.js');
  const { formatTruthTables } = await import('../../simulate/truth-tables.js');
  const spec = { sampleRateHz: result.sampleRateHz, encoding: result.bits === 24 ? 'pcm24' : 'pcm16' } as const;
  for (const track of result.tracks) {
    await writeFileAtomic(`${folder}/${toFileName(track.bird)}`, buildWavFile(spec, [track.samples]), write);
    if (track.ownVoice) await writeFileAtomic(`${folder}/truth/own-voice/${toFileName(track.bird)}`, buildWavFile({ ...spec, encoding: 'float32' }, [track.ownVoice]), write);
  }
  const tables = formatTruthTables(result, toFileName);
  await writeFileAtomic(`${folder}/truth/truth.csv`, tables.truth, write);
  await writeFileAtomic(`${folder}/truth/events.csv`, tables.events, write);
  await writeFileAtomic(`${folder}/truth/clock.csv`, tables.clock, write);
  await writeFileAtomic(`${folder}/channels.csv`, tables.channels, write);
  await writeFileAtomic(`${folder}/scene.json`, `${JSON.stringify(scene, null, 2)}\n`, write);
}

interface Summary { folder: string; seed: number; durationSec: number; sampleRateHz: number; tracks: number; calls: number; untagged: number; overlapped: number; lost: number; clipped: number; otherSounds: number }

function summarise(folder: string, seed: number, durationSec: number, result: SimulatedScene): Summary {
  const count = (test: (row: SimulatedScene['truth'][number]) => boolean): number => result.truth.filter(test).length;
  return {
    folder, seed, durationSec, sampleRateHz: result.sampleRateHz, tracks: result.tracks.length, calls: result.truth.length, untagged: count((r) => r.bird === 'none'),
    overlapped: count((r) => r.overlap), lost: count((r) => r.lost), clipped: count((r) => r.clipped), otherSounds: result.events.length,
  };
}

function describe(s: Summary): string {
  return [
    `${s.tracks} tracks of ${s.durationSec} s at ${s.sampleRateHz} Hz in ${s.folder}`,
    `${s.calls} calls: ${s.untagged} of untagged birds, ${s.overlapped} overlapped, ${s.lost} while the link was down, ${s.clipped} clipped; ${s.otherSounds} other sounds and faults`,
    `labels: ${s.folder}/truth/truth.csv`,
  ].join('\n');
}
