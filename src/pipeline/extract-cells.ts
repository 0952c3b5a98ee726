import type { CellRunner } from './calibrate.js';
import type { ExtractResult, ExtractTask } from './cell-work.js';
import type { TellCell } from './checkpoint.js';

/** Extracts cells; those in which there is nothing to look at are no job for anybody: nights of a study of weeks are many thousands of them. Results are in the order of the tasks. */
export async function extractCells(runner: CellRunner, tasks: readonly ExtractTask[], tell: TellCell): Promise<ExtractResult[]> {
  const wanted = tasks.filter((t) => t.spans.length > 0);
  for (let n = wanted.length; n < tasks.length; n++) tell();
  const found = (await runner.extract(wanted, tell)).values();
  return tasks.map((t) => (t.spans.length > 0 ? found.next().value! : { rows: new Float64Array(0), lostRuns: [] }));
}
