import type { CrosstalkLevels } from './crosstalk-levels.js';
import { spreadPrior } from './crosstalk-levels.js';
import { smoothPower } from './planes.js';
import type { Planes } from './planes.js';
import { ln } from '../numeric/elementary.js';
import { addSystem, createPathSystem, solvePaths, solveUnknown } from './path-system.js';
import type { PathSolution, PathSystem } from './path-system.js';
import type { SeparationCall } from './plan-pieces.js';
import type { SeparationSettings } from './settings.js';
import type { SoloStore } from './solo-store.js';
import type { BinRange } from '../kernels/paths.js';

export interface PathContext { store: SoloStore; settings: SeparationSettings; levels: CrosstalkLevels; floors: readonly Float32Array[] }

/** What is observed of a path outside its solo calls, and what stands in the way, power [frame][bin]. */
export interface PathTrial { observed: Planes; reference: Planes; otherPower: Float32Array }

/**
 * Observations of the path from `source` to `receiver` that still hold at `tSec`: the solo calls before, those after, both or none (undefined), whichever
 * explains the trial best. Solo calls on a side are used as far as they agree with one path: birds move.
 * Models are compared by the likelihood of the complex Gaussian model with each path's own uncertainty.
 */
export async function choosePath(c: PathContext, receiver: number, source: number, tSec: number, trial: PathTrial, range: BinRange): Promise<PathSystem | undefined> {
  const { settings, store } = c, prior = spreadPrior(c.levels, receiver, source, settings);
  const unknown = solveUnknown(prior, settings.tapCount, settings.binCount, range);
  const runs: PathSystem[] = [];
  for (const side of [-1, 1] as const) {
    const run = await gatherRun(c, receiver, store.findNear(source, tSec, side, settings.soloCount), prior, unknown, range);
    if (run) runs.push(run);
  }
  if (runs.length === 2) { const both = createPathSystem(settings.tapCount, settings.binCount); addSystem(both, runs[0], 0); addSystem(both, runs[1], 0); runs.push(both); }
  let best: PathSystem | undefined, bestScore = scorePath(c, unknown, trial, c.floors[receiver], range);
  for (const run of runs) {
    const score = scorePath(c, solvePaths(run, prior, range), trial, c.floors[receiver], range);
    if (score < bestScore) { best = run; bestScore = score; }
  }
  return best;
}

/** Sums the solo calls, nearest first, until one of them is explained better by a path unknown. */
async function gatherRun(c: PathContext, receiver: number, calls: readonly SeparationCall[], prior: Float64Array, unknown: PathSolution, range: BinRange): Promise<PathSystem | undefined> {
  const { settings, store } = c, floor = c.floors[receiver];
  let run: PathSystem | undefined;
  for (const call of calls) {
    const section = await store.load(call);
    if (section.tracks[receiver].re.every((v) => v === 0)) continue;
    if (run) {
      const trial = { observed: section.tracks[receiver], reference: section.tracks[call.track], otherPower: new Float32Array(section.tracks[receiver].re.length) };
      if (scorePath(c, solvePaths(run, prior, range), trial, floor, range) > scorePath(c, unknown, trial, floor, range)) break;
    } else run = createPathSystem(settings.tapCount, settings.binCount);
    addSystem(run, await store.loadSystem(call, receiver, floor), 0);
  }
  return run;
}

/** Negative log likelihood, up to a constant, of what was observed given a path. */
function scorePath(c: PathContext, solution: PathSolution, trial: PathTrial, floor: Float32Array, range: BinRange): number {
  const { observed, reference, otherPower } = trial, { binCount, frameCount } = observed;
  const { crosstalk, variance } = c.store.engine.predict(solution, [reference], range);
  const predicted = smoothPower(crosstalk);
  let sum = 0, product = 1;
  for (let k = 0; k < frameCount; k++) {
    for (let b = range[0], i = k * binCount + b; b < range[1]; b++, i++) {
      const v = variance[i] + floor[b] + c.settings.modelError * predicted[i] + otherPower[i];
      const re = observed.re[i] - crosstalk.re[i], im = observed.im[i] - crosstalk.im[i];
      sum += (re * re + im * im) / v;
      // One logarithm for many variances.
      product *= v;
      if (product < 1e-200 || product > 1e200) { sum += ln(product); product = 1; }
    }
  }
  return c.settings.independence * (sum + ln(product));
}
