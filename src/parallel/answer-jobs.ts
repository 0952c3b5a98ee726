import { VolaryError } from '../schema/errors.js';
import type { ArrivalTask } from '../pipeline/arrival-work.js';
import type { CellWorker, ExtractResult, ExtractTask } from '../pipeline/cell-work.js';
import type { StudyAudio } from '../study/study-audio.js';

/** What a worker is asked; `id` tells the jobs apart that it was sent at once. */
export type CellJob = { id: number } & ({ kind: 'survey'; argument: number } | { kind: 'extract'; argument: ExtractTask } | { kind: 'listen'; argument: ArrivalTask });

/** What it answers; `problems` are the files that failed so far, one line each, `isUnread` that one of them was wanted for this job. */
export type CellAnswer = { id: number; problems: string[] } & ({ value: unknown; isUnread: boolean } | { error: { code: string; message: string } });

/** Worker and audio of one study, opened once. */
export interface OpenedCells { worker: CellWorker; audio: StudyAudio }

function doJob(worker: CellWorker, job: CellJob, onUnread: () => void): Promise<unknown> {
  if (job.kind === 'survey') return worker.survey(job.argument, onUnread);
  return job.kind === 'extract' ? worker.extract(job.argument, onUnread) : worker.listen(job.argument, onUnread);
}

/** Does one job inside a worker; an error becomes an answer, never an exception. */
export async function answerJob(opened: Promise<OpenedCells>, job: CellJob): Promise<CellAnswer> {
  try {
    const { worker, audio } = await opened;
    let isUnread = false;
    const value = await doJob(worker, job, () => { isUnread = true; });
    return { id: job.id, value, isUnread, problems: audio.problems.map((p) => p.text) };
  } catch (error) {
    const code = error instanceof VolaryError ? error.code : 'internal';
    return { id: job.id, error: { code, message: error instanceof Error ? error.message : String(error) }, problems: [] };
  }
}

/** What of an answer may be moved to the other thread instead of copied. */
export function listTransfers(answer: CellAnswer): ArrayBuffer[] {
  const rows = 'value' in answer ? (answer.value as Partial<ExtractResult>).rows : undefined;
  return rows ? [rows.buffer as ArrayBuffer] : [];
}
