/** One worker thread of separation: opens the study, then works out the blocks it is sent. */
import { parentPort, workerData } from 'node:worker_threads';
import type { BlockAnswer } from '../parallel/block-queue.js';
import { VolaryError } from '../schema/errors.js';
import { BlockSeparator } from '../separate/separate-block.js';
import type { Edit } from '../separate/separate-piece.js';
import { StudyAudio } from '../study/study-audio.js';
import { describeSeparation } from './separation-input.js';
import type { SeparationTask } from './separation-input.js';
import { loadStudy } from './study-files.js';

const { manifestPath, task } = workerData as { manifestPath: string; task: SeparationTask };

async function open(): Promise<BlockSeparator> {
  const study = await loadStudy(manifestPath, undefined, { isBlocking: true });
  return new BlockSeparator(await describeSeparation(new StudyAudio(study.timeline, study.openReader), task));
}

const opened = open();
opened.catch(() => undefined);

async function answer(blockIndex: number): Promise<BlockAnswer<Edit[]>> {
  try {
    return { value: await (await opened).separate(blockIndex) };
  } catch (error) {
    return { error: { code: error instanceof VolaryError ? error.code : 'internal', message: error instanceof Error ? error.message : String(error) } };
  }
}

parentPort!.on('message', (blockIndex: number) => {
  void answer(blockIndex).then((a) => parentPort!.postMessage(a, 'value' in a ? a.value.map((e) => e.change.buffer as ArrayBuffer) : []));
});
