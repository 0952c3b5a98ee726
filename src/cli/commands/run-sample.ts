import { join } from 'node:path';
import { refuseExisting, writeFileAtomic } from '../../node/write-files.js';
import { quoteName, VolaryError } from '../../schema/errors.js';
import { alignColumns, digits } from '../../score/format-text.js';
import { drawSample, planSampleSize } from '../../score/sample-calls.js';
import type { SamplePlan } from '../../score/sample-calls.js';
import { EXIT } from '../io.js';
import type { CommandIo } from '../io.js';
import { readCalls } from './read-result.js';
import { formatSample } from '../../score/sample-file.js';
import type { SampleCommandOptions } from './sample.js';

const DEFAULT_NUMBER = 100;

/** What `volary sample` does. */
export async function runSample(io: CommandIo, folder: string, options: SampleCommandOptions): Promise<number> {
  if (options.number !== undefined && options.within !== undefined) {
    throw new VolaryError('bad-option', { where: '--within', what: 'cannot be used together with --number', expected: 'one of the two' });
  }
  const calls = await readCalls(folder);
  if (!calls.length) throw new VolaryError('no-data', { where: quoteName(join(folder, 'calls.csv')), what: 'the table has no call to draw from' });
  const path = options.output ?? join(folder, 'sample.csv');
  await refuseExisting(path, { overwrite: options.force });
  const number = options.within === undefined ? options.number ?? DEFAULT_NUMBER : planSampleSize(calls, options.within);
  const plan = drawSample(calls, number, options.seed);
  await writeFileAtomic(path, formatSample(calls, plan.drawn), { overwrite: options.force });
  const { strata, expectedHalfWidth } = plan;
  io.out(io.json
    ? JSON.stringify({ file: path, calls: calls.length, drawn: plan.drawn.length, expectedHalfWidth: Number(expectedHalfWidth.toFixed(6)), strata }, null, 1)
    : describePlan(path, calls.length, plan));
  return EXIT.done;
}

function describePlan(path: string, callCount: number, { strata, drawn, expectedHalfWidth }: SamplePlan): string {
  const lines = [['probability', 'rows', 'drawn']];
  for (const s of strata) lines.push([`${digits(s.lowProbability, 4)} to ${digits(s.highProbability, 4)}`, String(s.calls), String(s.drawn)]);
  return [
    `${drawn.length} of ${callCount} rows drawn to ${quoteName(path)}.`, '', ...alignColumns(lines), '',
    `Once all are verified, the share of right rows is expected to be known to within ${digits(expectedHalfWidth, 4)} (95 %).`,
    'Verify in the order of the file: write into the column bird who calls (a bird, none, or no_call).',
  ].join('\n');
}
