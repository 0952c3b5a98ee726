// One simulated scene through the evidence stages, in memory.
import { StudyAudio } from '../../dist/study/study-audio.js';
import { buildTimeline } from '../../dist/study/timeline.js';
import { createMemoryReader } from '../../dist/audio/memory-reader.js';
import { unpackCandidates } from '../../dist/evidence/candidate-rows.js';
import { resolveSettings } from '../../dist/evidence/settings.js';
import { planCells } from '../../dist/pipeline/cells.js';
import { CellWorker } from '../../dist/pipeline/cell-work.js';
import { SpanFinder } from '../../dist/pipeline/active-time.js';
import { calibrateStudy, makeTask } from '../../dist/pipeline/calibrate.js';
import { fitGains } from '../../dist/model/fit-gains.js';
import { loadKernelsFile } from '../../dist/node/kernels-file.js';

/** Gathers the evidence of tracks in memory: birds and recorders by track, Float32Array signals. */
export async function gatherInMemory(birds, recorders, signals, sampleRateHz) {
  const readers = new Map(birds.map((b, j) => [b, createMemoryReader(b, [signals[j]], sampleRateHz)]));
  const manifest = {
    volary: 1, name: 'memory', recorders: [...new Set(recorders)].map((name) => ({ name })),
    tracks: birds.map((bird, j) => ({ bird, recorder: recorders[j], files: [{ path: bird, channel: 1 }] })),
  };
  const timeline = buildTimeline(manifest, new Map([...readers].map(([k, r]) => [k, { info: r.info }])));
  const audio = new StudyAudio(timeline, async (p) => readers.get(p));
  const settings = resolveSettings(sampleRateHz);
  const plan = planCells(timeline.durationSec, settings.callSec[1]);
  const worker = new CellWorker(await loadKernelsFile(), audio, settings, plan);
  const each = async (items, job) => { const out = []; for (const x of items) out.push(await job(x)); return out; };
  const runner = { survey: (c, f) => each(c, (k) => worker.survey(k)), extract: (t, f) => each(t, (k) => worker.extract(k)), listen: (t, f) => each(t, (k) => worker.listen(k)) };
  const calibration = await calibrateStudy(runner, timeline, settings, plan, { maxOffsetSec: 60 });
  const spans = new SpanFinder(calibration.active, calibration.clock, plan, settings);
  const cells = await runner.extract(Array.from({ length: plan.cellCount }, (_, k) => makeTask(plan, calibration, spans, k)));
  const candidates = cells.flatMap((c) => unpackCandidates(c.rows, birds.length));
  const evidence = { candidates, cells, gains: fitGains(candidates, calibration.priorGainDb), clock: calibration.clock };
  return { evidence, timeline, settings, plan };
}
