/** The grid of time that a live run works along, and how far back it needs sound. */
import { resolveSettings, type AnalysisSettings } from '../evidence/settings.js';
import { readOffset } from '../model/clock.js';
import { findSlotSec } from '../pipeline/cells.js';
import { FLOOR_CELL_SEC } from './floor-keeper.js';
import type { EngineState } from './live-engine.js';
import type { LiveSetup } from './live-setup.js';

/** Length of a step at most, seconds. */
const STEP_SEC = 0.36;
/** A sound is taken once so much more was heard after its end, seconds: strings of elements, decay, the filters' memory. */
export const AFTER_SEC = 0.3;

/** The grid that a live run works along. */
export interface StepPlan { settings: AnalysisSettings; slotSec: number; stepSlots: number; stepSec: number; contextSec: number }

export function planSteps(setup: LiveSetup): StepPlan {
  const settings = resolveSettings(setup.sampleRateHz, setup.request);
  const slotSec = findSlotSec(settings);
  const stepSlots = Math.max(1, Math.floor(STEP_SEC / slotSec));
  return { settings, slotSec, stepSlots, stepSec: stepSlots * slotSec, contextSec: Math.min(2, settings.callSec[1] + 0.1) + AFTER_SEC };
}

/** The earliest frame per input that a run which goes on from a state needs. */
export function listNeededFrames(setup: LiveSetup, state: Pick<EngineState, 'step' | 'nextCell' | 'learned'>): number[] {
  const { stepSec, contextSec } = planSteps(setup);
  const heardSec = state.step * stepSec;
  return setup.inputs.map((_, k) => {
    const offsets = setup.tracks.filter((t) => t.input === k).map((t) => readOffset(state.learned.clock[t.recorderIndex], heardSec));
    const sec = Math.min(state.nextCell * FLOOR_CELL_SEC, heardSec - contextSec - stepSec + Math.min(...offsets)) - 0.1;
    return Math.max(0, Math.floor(sec * setup.sampleRateHz));
  });
}
