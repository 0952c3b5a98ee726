/** One worker thread of separation: opens the study, then works out the blocks it is sent. */
import { parentPort, workerData } from 'node:worker_threads';
import type { BlockAnswer } from '../parallel/block-queue.js';
import { EditMemory } from '../parallel/edit-memory.js';
import type { PlacedEdits } from '../parallel/edit-memory.js';
import { VolaryError } from '../schema/errors.js';
import { BlockSeparator } from '../separate/separate-block.js';
import { StudyAudio } from '../study/study-audio.js';
import { describeSeparation } from './separation-input.js';
import type { SeparationTask } from './separation-input.js';
import { loadStudy } from './study-files.js';

const { manifestPath, task } = workerData as { manifestPath: string; task: SeparationTask };

/** What a worker says of a block: its edits, and the files that failed so far, one line each. */
export interface ThreadAnswer extends PlacedEdits { problems: string[] }

async function open(): Promise<{ blocks: BlockSeparator; audio: StudyAudio }> {
  const study = await loadStudy(manifestPath, undefined, { isBlocking: true }), audio = new StudyAudio(study.timeline, study.openReader);
  return { blocks: new BlockSeparator(await describeSeparation(audio, task)), audio };
}

const opened = open();
opened.catch(() => undefined);

const memory = new EditMemory();

async function answer(blockIndex: number, freed: readonly number[]): Promise<BlockAnswer<ThreadAnswer>> {
  try {
    const { blocks, audio } = await opened;
    memory.begin(freed);
    const edits = await blocks.separate(blockIndex, (count) => memory.take(count));
    return { value: { ...memory.place(edits), problems: audio.problems.map((p) => p.text) } };
  } catch (error) {
    return { error: { code: error instanceof VolaryError ? error.code : 'internal', message: error instanceof Error ? error.message : String(error) } };
  }
}

// The queue sends the next block when it has the answer to the one before.
parentPort!.on('message', ({ blockIndex, freed }: { blockIndex: number; freed: readonly number[] }) => {
  void answer(blockIndex, freed).then((a) => parentPort!.postMessage(a));
});
