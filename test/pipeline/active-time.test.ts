import { describe, expect, it } from 'vitest';
import { createMemoryReader } from '../../src/audio/memory-reader.js';
import { unpackCandidates } from '../../src/evidence/candidate-rows.js';
import { resolveSettings } from '../../src/evidence/settings.js';
import { createZeroClock } from '../../src/model/clock.js';
import { loadKernelsFile } from '../../src/node/kernels-file.js';
import { SpanFinder } from '../../src/pipeline/active-time.js';
import { CellWorker } from '../../src/pipeline/cell-work.js';
import { findSlotSec, planCells } from '../../src/pipeline/cells.js';
import { buildTimeline } from '../../src/study/timeline.js';
import { StudyAudio } from '../../src/study/study-audio.js';
import { makeNoise } from '../study/make-wav.js';
import { makeRandom } from '../model/clock-synthetic.js';

const settings = resolveSettings(48000);
const slotSec = findSlotSec(settings);

/** Activity of runs of random length, some of them far longer than a cell. */
function drawActivity(durationSec: number, seed: number): Uint8Array {
  const { uniform } = makeRandom(seed);
  const bits = new Uint8Array(Math.ceil(durationSec / slotSec / 8) + 1);
  for (let t = 0, on = false; t < durationSec / slotSec; on = !on) {
    const end = t + 1 + Math.floor((on ? 40 : 15) / uniform() ** 1.2);
    for (; t < end && t < durationSec / slotSec; t++) if (on) bits[t >> 3] |= 1 << (t & 7);
  }
  return bits;
}

describe.each([1, 2, 3, 4])('the spans of a study, draw %i', (seed) => {
  const plan = planCells(400, 1.5);
  const bits = drawActivity(400, seed);
  const spans = Array.from({ length: plan.cellCount }, (_, c) => new SpanFinder([bits], createZeroClock(1), plan, settings).list(c));
  const isOn = (s: number): boolean => (bits[s >> 3] & (1 << (s & 7))) !== 0;

  it('own every active moment once, none that is not, with context where they are cut', () => {
    const all = spans.flat();
    const wrong: number[] = [];
    for (let s = 0; s < Math.floor(400 / slotSec); s++) {
      const t = (s + 0.5) * slotSec;
      const owners = all.filter((x) => s >= x.first && s < x.end && t >= x.ownFromSec && t < x.ownToSec).length;
      if (owners !== (isOn(s) ? 1 : 0)) wrong.push(s);
    }
    expect(wrong).toEqual([]);
    // Where a long stretch is cut, what is owned has a call's length of context on the other side of the cut, or all there is of the stretch.
    for (const x of all) {
      if (Number.isFinite(x.ownFromSec) && isOn(x.first - 1)) expect(x.ownFromSec - x.first * slotSec).toBeGreaterThan(plan.haloSec - slotSec);
      if (Number.isFinite(x.ownToSec) && isOn(x.end)) expect(x.end * slotSec - x.ownToSec).toBeGreaterThan(plan.haloSec - slotSec);
    }
  });

  it('are in order, and the same whether cells are asked for in order, alone or backwards', () => {
    const again = new SpanFinder([bits], createZeroClock(1), plan, settings);
    for (let c = plan.cellCount - 1; c >= 0; c--) expect(again.list(c)).toEqual(spans[c]);
    for (const list of spans) list.forEach((x, k) => { if (k > 0) expect(x.first).toBeGreaterThanOrEqual(list[k - 1].end); });
    expect(spans.flat().some((x) => Number.isFinite(x.ownToSec))).toBe(true);
  });
});

it('a recorder whose clock is off shifts its activity to the reference clock', () => {
  const plan = planCells(100, 1.5);
  const other = new Uint8Array(1000);
  other[100] = 0xff; // slots 800 to 807 of its own time
  const clock = [...createZeroClock(1), { knotSec: [0], offsetSec: [3], uncertaintySec: [0] }];
  const [span, ...rest] = Array.from({ length: plan.cellCount }, (_, c) => new SpanFinder([new Uint8Array(1000), other], clock, plan, settings).list(c)).flat();
  expect(rest).toEqual([]);
  expect(span.first).toBe(Math.floor(800 - 3 / slotSec));
  expect(span.end).toBe(Math.ceil(808 - 3 / slotSec));
});

it('a worker asked for many things at once gives what it gives one by one', async () => {
  const signals = [1, 2, 3].map((j) => makeNoise(48000 * 12, j, 0.01).map((v, i) => v + (i % 24000 < 4000 ? 0.2 / j : 0) * Math.sin(0.3 * i)));
  const birds = ['a', 'b', 'c'];
  const readers = new Map(birds.map((b, j) => [b, createMemoryReader(b, [signals[j]], 48000)]));
  const manifest = { volary: 1 as const, name: 'x', recorders: [{ name: '1' }], tracks: birds.map((bird) => ({ bird, recorder: '1', files: [{ path: bird, channel: 1 }] })) };
  const timeline = buildTimeline(manifest, new Map([...readers].map(([b, r]) => [b, { info: r.info }])));
  const plan = planCells(timeline.durationSec, 1.5);
  const makeWorker = async (): Promise<CellWorker> => new CellWorker(await loadKernelsFile(), new StudyAudio(timeline, async (p) => readers.get(p)!), settings, plan);
  const { floors, filter } = await (await makeWorker()).survey(0);
  const tasks = Array.from({ length: 6 }, (_, n) => ({
    cell: n, gainDb: [0, 0, 0], floors, filter, clock: createZeroClock(1), spans: [{ first: 90 * n, end: 90 * n + 80, ownFromSec: -Infinity, ownToSec: Infinity }],
  }));
  const one = await makeWorker();
  const inTurn = [];
  for (const t of tasks) inTurn.push(await one.extract(t));
  const many = await makeWorker();
  expect(await Promise.all(tasks.map((t) => many.extract(t)))).toEqual(inTurn);
  expect(inTurn.flatMap((r) => unpackCandidates(r.rows, birds.length)).length).toBeGreaterThan(5);
});
