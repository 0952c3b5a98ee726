/** What the first stretch of sound teaches: floors, gains, clocks, and its own calls. */
import type { Candidate } from '../evidence/candidate.js';
import { isTelling } from '../evidence/telling.js';
import { unpackCandidates } from '../evidence/candidate-rows.js';
import type { AnalysisSettings } from '../evidence/settings.js';
import { SpanFinder } from '../pipeline/active-time.js';
import { calibrateStudy, makeTask, range, type CellRunner } from '../pipeline/calibrate.js';
import { CellWorker } from '../pipeline/cell-work.js';
import { planCells } from '../pipeline/cells.js';
import { fitGains } from '../model/fit-gains.js';
import type { StudyAudio } from '../study/study-audio.js';
import { shiftClock, type LearnedState } from './learning.js';

export interface WarmUp {
  learned: LearnedState;
  /** Floors by track that serve until the first cell of the live run has ended. */
  floors: Float32Array[];
  /** All candidates of the stretch, in order of time. */
  candidates: Candidate[];
}

/**
 * Works on a stretch that begins at `fromSec` as `attribute` works on a whole study of that length. `pause` is awaited between its jobs.
 * @param audio the stretch, its time 0 at `fromSec`
 * @throws VolaryError 'no-data' where two recorders have no sound in common
 */
export async function warmUp(
  module: WebAssembly.Module, audio: StudyAudio, settings: AnalysisSettings, fromSec: number, durationSec: number, maxOffsetSec: number, pause: () => Promise<void>,
): Promise<WarmUp> {
  const plan = planCells(durationSec, settings.callSec[1]);
  const runner = createPausingRunner(new CellWorker(module, audio, settings, plan), pause);
  const calibration = await calibrateStudy(runner, { ...audio.timeline, durationSec }, settings, plan, { maxOffsetSec });
  const spans = new SpanFinder(calibration.active, calibration.clock, plan, settings);
  const results = await runner.extract(range(plan.cellCount).map((cell) => makeTask(plan, calibration, spans, cell)), () => undefined);
  const candidates = results.flatMap((r) => unpackCandidates(r.rows, audio.timeline.tracks.length));
  for (const c of candidates) { c.onsetSec += fromSec; c.offsetSec += fromSec; }
  const telling = candidates.filter(isTelling);
  return {
    candidates, floors: calibration.floors[calibration.floors.length - 1],
    learned: { telling, priorGainDb: calibration.priorGainDb, gains: fitGains(telling, calibration.priorGainDb), clock: fromSec > 0 ? calibration.clock.map((c) => shiftClock(c, fromSec)) : calibration.clock },
  };
}

function createPausingRunner(worker: CellWorker, pause: () => Promise<void>): CellRunner {
  const each = async <A, B>(items: A[], job: (item: A) => Promise<B>, onDone: () => void): Promise<B[]> => {
    const out: B[] = [];
    for (const item of items) {
      await pause();
      out.push(await job(item));
      onDone();
    }
    return out;
  };
  return {
    survey: (cells, onDone) => each(cells, (k) => worker.survey(k), onDone),
    extract: (tasks, onDone) => each(tasks, (t) => worker.extract(t), onDone),
    listen: (tasks, onDone) => each(tasks, (t) => worker.listen(t), onDone),
  };
}
