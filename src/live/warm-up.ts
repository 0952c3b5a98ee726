/** What the first stretch of sound teaches: noise, gains, clocks, and its own calls. */
import type { Candidate } from '../evidence/candidate.js';
import { isTelling } from '../evidence/telling.js';
import { unpackCandidates } from '../evidence/candidate-rows.js';
import type { AnalysisSettings } from '../evidence/settings.js';
import { SpanFinder } from '../pipeline/active-time.js';
import { calibrateStudy, makeTask, range, type CellRunner } from '../pipeline/calibrate.js';
import { CellWorker } from '../pipeline/cell-work.js';
import { planCells } from '../pipeline/cells.js';
import { createZeroClock } from '../model/clock.js';
import { fitGains } from '../model/fit-gains.js';
import { VolaryError } from '../schema/errors.js';
import type { StudyAudio } from '../study/study-audio.js';
import type { NoiseState } from './floor-keeper.js';
import type { FrameRing } from './frame-ring.js';
import { joinClock, shiftClock, type LearnedState } from './learning.js';
import { joinRecorders, openLiveAudio, type LiveSetup } from './live-setup.js';
import type { WarningRow } from './warnings.js';

export interface WarmUp {
  learned: LearnedState;
  /** Serves until the first cell of the live run has ended. */
  noise: NoiseState;
  /** All candidates of the stretch, in order of time. */
  candidates: Candidate[];
}

/**
 * Works on a stretch that begins at `fromSec` as `attribute` works on a whole study of that length. `pause` is awaited between its jobs.
 * @param audio the stretch, its time 0 at `fromSec`
 * @throws VolaryError 'no-data' where two recorders have no sound in common
 */
async function warmUp(
  module: WebAssembly.Module, audio: StudyAudio, settings: AnalysisSettings, fromSec: number, durationSec: number, maxOffsetSec: number, pause: () => Promise<void>,
): Promise<WarmUp> {
  const plan = planCells(durationSec, settings.callSec[1]);
  const runner = createPausingRunner(new CellWorker(module, audio, settings, plan), pause);
  const calibration = await calibrateStudy(runner, { ...audio.timeline, durationSec }, settings, plan, { maxOffsetSec });
  const spans = new SpanFinder(calibration.active, calibration.clock, plan, settings);
  const results = await runner.extract(range(0, plan.cellCount).map((cell) => makeTask(plan, calibration, spans, cell)), () => undefined);
  const candidates = results.flatMap((r) => unpackCandidates(r.rows, audio.timeline.tracks.length));
  for (const c of candidates) { c.onsetSec += fromSec; c.offsetSec += fromSec; }
  const telling = candidates.filter(isTelling);
  const endSec = fromSec + durationSec, last = plan.surveyCount - 1;
  // From the end on they run at the rate of all of it, ever less certain.
  const clock = calibration.clock.map((c) => shiftClock(c, fromSec)).map((c, r) => (r === 0 ? c : joinClock(c, c, fromSec, endSec)));
  return {
    candidates, noise: { floors: calibration.floors[last], filter: calibration.filters[last], filterLossDb: calibration.filterLossDb[last] },
    learned: { telling, priorGainDb: calibration.priorGainDb, gains: fitGains(telling, calibration.priorGainDb), clock },
  };
}

export interface WarmUpTry {
  fromSec: number;
  endSec: number;
  maxOffsetSec: number;
  /** Goes on without common clocks where there are none. */
  isLast: boolean;
  pause: () => Promise<void>;
}

/**
 * Tries a stretch of what the rings hold. Where a recorder hears nothing in common with the reference there is a warning; nothing is found then, or, at
 * the last try, what can be learned when the times of all recorders are taken as the study gives them.
 */
export async function warmUpOrWait(
  module: WebAssembly.Module, setup: LiveSetup, rings: readonly FrameRing[], settings: AnalysisSettings, t: WarmUpTry,
): Promise<{ found?: WarmUp; missing?: WarningRow }> {
  const zeroFrame = Math.round(t.fromSec * setup.sampleRateHz);
  const learn = (from: LiveSetup): Promise<WarmUp> => warmUp(module, openLiveAudio(from, rings, zeroFrame), settings, t.fromSec, t.endSec - t.fromSec, t.maxOffsetSec, t.pause);
  try {
    return { found: await learn(setup) };
  } catch (error) {
    if (!(error instanceof VolaryError) || error.code !== 'no-data' || setup.recorders.length < 2) throw error;
    const recorder = error.detail.where ?? '';
    const missing: WarningRow = { timeSec: t.endSec, track: recorder, kind: 'no-clock', text: describeMissingClock(recorder, t) };
    if (!t.isLast) return { missing };
    const found = await learn(joinRecorders(setup));
    return { missing, found: { ...found, learned: { ...found.learned, clock: createZeroClock(setup.recorders.length) } } };
  }
}

function describeMissingClock(recorder: string, { fromSec, endSec, maxOffsetSec, isLast }: WarmUpTry): string {
  if (isLast) {
    return `until ${endSec.toFixed(0)} s no sound was heard by all recorders (${recorder}, offsets up to ${maxOffsetSec} s): from now on times of all recorders are taken as they are; a call that two of them hear after all may be told twice, or of the wrong bird`;
  }
  return `no sound of ${fromSec.toFixed(0)} to ${endSec.toFixed(0)} s was heard by all recorders (${recorder}, offsets up to ${maxOffsetSec} s): without clocks no call is given; the warm-up goes on with what follows`;
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
