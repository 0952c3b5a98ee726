import type { Models } from '../attribute/attribution.js';
import type { TableContext } from '../attribute/make-tables.js';
import type { AnalysisSettings } from '../evidence/settings.js';
import { readOffset } from '../model/clock.js';
import { log10 } from '../numeric/elementary.js';
import { unpackCandidates } from '../evidence/candidate-rows.js';
import { CellWorker, type ExtractResult } from '../pipeline/cell-work.js';
import { planCells } from '../pipeline/cells.js';
import { decideByKernels } from '../pipeline/decision-kernels.js';
import { meanFloorDb } from '../pipeline/floor-table.js';
import type { CallRow } from '../schema/rows.js';
import type { StudyAudio } from '../study/study-audio.js';
import { ActiveSlots, type SlotState } from './active-slots.js';
import { ActivityScanner } from './activity-scanner.js';
import { createDeciderState, Decider, type DeciderState } from './decider.js';
import { FLOOR_CELL_SEC, FloorKeeper, type NoiseState } from './floor-keeper.js';
import { FrameRing } from './frame-ring.js';
import { Learning, type LearnedState } from './learning.js';
import type { LinkVerdict } from './link-watch.js';
import { openLiveAudio, type LiveSetup } from './live-setup.js';
import { AFTER_SEC, listNeededFrames, planSteps } from './step-plan.js';
import { warmUpOrWait } from './warm-up.js';
import { Watchers, type WatcherState } from './watchers.js';
import { describeLostClock, type WarningRow } from './warnings.js';

export interface LiveOptions {
  models: Models;
  /** Sound that floors, gains and clocks are learned from before anything is printed, seconds. */
  warmUpSec: number;
  /** Largest offset between recorders, seconds. */
  maxOffsetSec: number;
  /** Sound that is waited for until recorders hear something in common, seconds; then it goes on without. */
  clockWaitSec: number;
  /** Awaited between pieces of work, so that others get the thread. */
  pause: () => Promise<void>;
  /** A call, and how much of the stream had been heard when it was given, seconds. */
  onCall: (row: CallRow, heardSec: number) => void;
  onWarning: (row: WarningRow) => void;
  onNote: (text: string) => void;
  /** Time to save: what `save` gives is whole. */
  onSave: () => Promise<void>;
}

/** Everything that a run which goes on elsewhere has to know. */
export interface EngineState {
  /** Next step. */
  step: number;
  /** Sounds that ended before were taken. */
  takenSec: number;
  slots: SlotState;
  noise: NoiseState;
  floorCells: Float32Array[][];
  nextCell: number;
  learned: LearnedState;
  decider: DeciderState;
  watchers: WatcherState;
}

/** A call is printed at latest when so much more was heard, seconds: the usual longest call that competes with it has ended by then. */
const WAIT_SEC = 1.4;
const HALO_SEC = 0.13;
/** What reaches across the cut between two steps by so much may be found in either. */
const CUT_SEC = 0.03;
/** When stopped in the middle, sounds up to so shortly before are whole. */
const STOP_SEC = 0.02;
const SAVE_SEC = 10;
/** Sound kept beside what is needed, seconds: input that waits. */
const SPARE_SEC = 5;

/** From bytes of a recording that is still being made to calls: a pure function of the bytes, however they arrive. */
export class LiveEngine {
  readonly rings: FrameRing[];
  readonly settings: AnalysisSettings;
  readonly stepSec: number;
  private readonly audio: StudyAudio;
  private readonly slotSec: number;
  private readonly stepSlots: number;
  private readonly contextSec: number;
  private readonly warmSteps: number;
  /** Step at which the warm-up begins: later than 0 where the recorders had nothing in common before, or what came first is gone. */
  private warmFrom: number;
  private isClockMissed = false;
  private readonly worker: CellWorker;
  private readonly scanner: ActivityScanner;
  private readonly keeper: FloorKeeper;
  private run: { state: EngineState; slots: ActiveSlots; learning: Learning; decider: Decider; watchers: Watchers } | undefined;

  /** @param originFrames per input, the frame of its recorder's clock that comes first */
  constructor(private readonly module: WebAssembly.Module, private readonly setup: LiveSetup, private readonly options: LiveOptions, originFrames: readonly number[], state?: EngineState) {
    const plan = planSteps(setup);
    this.settings = plan.settings;
    this.slotSec = plan.slotSec;
    this.stepSlots = plan.stepSlots;
    this.stepSec = plan.stepSec;
    this.contextSec = plan.contextSec;
    this.warmSteps = Math.ceil(options.warmUpSec / this.stepSec);
    this.warmFrom = state ? 0 : Math.ceil(Math.min(...originFrames) / setup.sampleRateHz / this.stepSec);
    const spreadSec = setup.recorders.length > 1 ? 2 * options.maxOffsetSec : 0;
    const capacitySec = Math.max(this.warmSteps * this.stepSec, FLOOR_CELL_SEC + this.contextSec + this.stepSec) + spreadSec + SPARE_SEC;
    this.rings = setup.inputs.map((input, k) => new FrameRing(input.channelCount, input.coding, Math.ceil(capacitySec * setup.sampleRateHz), originFrames[k]));
    this.audio = openLiveAudio(setup, this.rings);
    this.worker = new CellWorker(module, this.audio, this.settings, planCells(60, this.settings.callSec[1]));
    this.scanner = new ActivityScanner(module, this.audio, this.settings, this.stepSlots);
    this.keeper = new FloorKeeper(module, this.audio, this.settings);
    if (state) this.start(state);
  }

  /** Stream time up to which all is worked on, seconds. */
  get heardSec(): number { return (this.run?.state.step ?? 0) * this.stepSec; }

  get isWarm(): boolean { return this.run !== undefined; }

  /** Works on what the rings hold and gives room back. False where more sound is needed for the next step. */
  async advance(): Promise<boolean> {
    const { run } = this;
    if (run && run.decider.finalSec < 0) await this.giveWarmUp();
    else {
      if (this.countWholeSteps() < (run ? run.state.step + 1 : this.warmFrom + this.warmSteps)) return false;
      if (run) await this.takeStep();
      else if (!await this.warm(this.warmFrom + this.warmSteps)) await this.postponeWarmUp();
    }
    if (this.run) listNeededFrames(this.setup, { ...this.run.state, learned: this.run.learning.save() }).forEach((frame, k) => this.rings[k].release(frame));
    return true;
  }

  /**
   * Works on the rest when no more sound comes.
   * @param goesOn the stream will go on elsewhere: a sound that is not over is left for then
   */
  async finish(goesOn: boolean): Promise<void> {
    while (await this.advance());
    const endSec = this.findEndSec();
    if (!this.run) {
      const steps = Math.floor(endSec / this.stepSec);
      if (steps < this.warmFrom + 3 || goesOn) {
        this.options.onNote(`ended after ${endSec.toFixed(1)} s, before the warm-up was over: nothing was learned and no call is given`);
        return;
      }
      if (!await this.warm(steps)) {
        this.options.onNote(`ended after ${endSec.toFixed(1)} s without a sound that all recorders heard: no call is given`);
        return;
      }
      this.options.onNote(`ended before the warm-up was over: learned from ${((steps - this.warmFrom) * this.stepSec).toFixed(1)} s only`);
      while (await this.advance());
    }
    const { state, slots } = this.run!;
    const rest = Math.max(0, Math.min(this.stepSlots, Math.ceil((endSec - this.heardSec) / this.slotSec)));
    if (rest > 0) slots.push((await this.scanner.scan(state.step * this.stepSlots, rest, state.noise, this.run!.learning.clock)).active);
    const takeSec = goesOn ? endSec - STOP_SEC : endSec + 1;
    await this.takeSounds(takeSec);
    this.give(takeSec, endSec);
    // The slots of a step that is done again are those of before.
    if (rest > 0) state.slots.bits = state.slots.bits.slice(0, state.slots.bits.length - rest);
    await this.options.onSave();
  }

  save(): EngineState | undefined {
    if (!this.run) return undefined;
    const { state, learning, watchers } = this.run;
    return { ...state, floorCells: this.keeper.save(), learned: learning.save(), watchers: watchers.save() };
  }

  private start(state: EngineState): void {
    const { setup, settings } = this;
    const birds = setup.tracks.map((t) => t.bird);
    const bandShare = 10 * log10((settings.bandBins[1] - settings.bandBins[0]) / (settings.fftSize / 2));
    const context: TableContext = {
      birds, startUtc: setup.startUtc, hopSec: settings.hopFrames / settings.sampleRateHz, fftSize: settings.fftSize,
      bandFloorDb: (track) => meanFloorDb(state.noise.floors[track], settings.bandBins) + bandShare,
    };
    this.keeper.restore(state.floorCells);
    const kept = Math.ceil((this.contextSec + WAIT_SEC + 1) / this.slotSec) + 2 * this.stepSlots;
    this.run = {
      state, slots: new ActiveSlots(state.slots, kept, Math.ceil(HALO_SEC / this.slotSec)), learning: new Learning(state.learned, setup.tracks.map((t) => t.recorderIndex)),
      decider: new Decider(state.decider, decideByKernels(this.options.models, this.module), context), watchers: new Watchers(birds, state.watchers),
    };
  }

  /** Learns from the steps of the warm-up; false where the clocks of the recorders cannot be learned from them. */
  private async warm(steps: number): Promise<boolean> {
    const { setup, options, settings, warmFrom } = this;
    const endSec = steps * this.stepSec, fromSec = warmFrom * this.stepSec;
    const isLast = endSec >= options.clockWaitSec;
    const { found, missing } = await warmUpOrWait(this.module, setup, this.rings, settings, { ...options, fromSec, endSec, isLast });
    if (missing && (isLast || !this.isClockMissed)) this.warn([missing]);
    this.isClockMissed = missing !== undefined;
    if (!found) return false;
    this.start({
      step: steps, takenSec: endSec - AFTER_SEC, noise: found.noise, floorCells: [], nextCell: Math.ceil(fromSec / FLOOR_CELL_SEC), learned: found.learned, decider: createDeciderState(-1),
      slots: { firstSlot: Math.max(warmFrom, steps - 8) * this.stepSlots, bits: new Uint8Array(0) }, watchers: new Watchers(setup.tracks.map((t) => t.bird)).save(),
    });
    const { state, slots, learning, decider } = this.run!;
    for (let step = Math.max(warmFrom, steps - 8); step < steps; step++) slots.push((await this.scanner.scan(step * this.stepSlots, this.stepSlots, state.noise, learning.clock)).active);
    decider.add(found.candidates.filter((c) => c.offsetSec < state.takenSec));
    await options.onSave();
    return true;
  }

  /** The next try is with the newest sound, half of it new; calls before it are not told. */
  private async postponeWarmUp(): Promise<void> {
    this.warmFrom += Math.max(1, this.warmSteps >> 1);
    const frame = Math.floor((this.warmFrom * this.stepSec - this.options.maxOffsetSec) * this.setup.sampleRateHz);
    for (const ring of this.rings) ring.release(frame);
    await this.options.onSave();
  }

  /** Gives the calls of the warm-up, late; where a run goes on from its end, once more. */
  private async giveWarmUp(): Promise<void> {
    this.options.onNote(`warm-up over: floors and gains learned from ${((this.run!.state.step - this.warmFrom) * this.stepSec).toFixed(1)} s of sound; its calls follow, late`);
    this.give(this.heardSec - WAIT_SEC, this.heardSec);
    while (this.isCellOver()) await this.endCell(false);
    await this.options.onSave();
  }

  private async takeStep(): Promise<void> {
    const { state, slots, learning, watchers } = this.run!;
    const fromSec = this.heardSec;
    const { active, isSilent } = await this.scanner.scan(state.step * this.stepSlots, this.stepSlots, state.noise, learning.clock);
    slots.push(active);
    state.step++;
    const nowSec = this.heardSec;
    const takenFrom = state.takenSec;
    const lostRuns = await this.takeSounds(nowSec - AFTER_SEC);
    const verdicts = isSilent.map((silent, j): LinkVerdict => {
      if (silent) return 'silent';
      const lost = lostRuns.reduce((sec, [track, a, b]) => (track === j ? sec + Math.max(0, Math.min(b, state.takenSec) - Math.max(a, takenFrom)) : sec), 0);
      return lost > 0.8 * (state.takenSec - takenFrom) ? 'noise' : 'ok';
    });
    this.warn(watchers.addLinks(fromSec, nowSec, verdicts));
    const quiet = slots.findQuiet(Math.floor(state.takenSec / this.slotSec));
    this.give(Math.max(nowSec - WAIT_SEC, (quiet ?? 0) * this.slotSec), nowSec);
    if (this.isCellOver()) await this.endCell(true);
    if (state.step % Math.round(SAVE_SEC / this.stepSec) === 0) await this.options.onSave();
    await this.options.pause();
  }

  /** Takes the sounds that ended up to `untilSec`; returns where links were lost. */
  private async takeSounds(untilSec: number): Promise<ExtractResult['lostRuns']> {
    const { state, slots, learning, decider } = this.run!;
    const fromSec = state.takenSec;
    if (untilSec <= fromSec) return [];
    state.takenSec = untilSec;
    const stretch = slots.findStretch(Math.floor(fromSec / this.slotSec), Math.min(slots.endSlot, Math.ceil(untilSec / this.slotSec)), Math.ceil(this.contextSec / this.slotSec));
    if (!stretch) return [];
    const found = await this.worker.extract({
      cell: 0, spans: [{ first: stretch[0], end: stretch[1], ownFromSec: -Infinity, ownToSec: Infinity }], gainDb: [...learning.gains.gainDb], floors: state.noise.floors, filter: state.noise.filter, clock: learning.clock,
    });
    const candidates = unpackCandidates(found.rows, this.audio.timeline.tracks.length);
    learning.add(decider.add(candidates.filter((c) => c.offsetSec >= fromSec - CUT_SEC && c.offsetSec < untilSec)));
    return found.lostRuns;
  }

  /** Gives the calls that ended up to `untilSec`. */
  private give(untilSec: number, nowSec: number): void {
    const { decider, learning, watchers } = this.run!;
    if (untilSec <= decider.finalSec) return;
    const rows = decider.decide(untilSec, learning.gains);
    for (const row of rows) this.options.onCall(row, nowSec);
    this.warn(watchers.addCalls(rows, nowSec));
  }

  /** Whether a floor cell has ended on all recorders. */
  private isCellOver(): boolean {
    const { state, learning } = this.run!;
    const behind = Math.min(...learning.clock.map((c) => readOffset(c, this.heardSec)));
    return this.heardSec + behind >= (state.nextCell + 1) * FLOOR_CELL_SEC;
  }

  /** Learns floors, gains and clocks anew. @param isUsed whether the floors are used from now on */
  private async endCell(isUsed: boolean): Promise<void> {
    const { state, learning, watchers } = this.run!;
    const isLost = watchers.endCell(FLOOR_CELL_SEC);
    await this.keeper.take(state.nextCell++, isLost);
    if (!isUsed) return;
    state.noise = this.keeper.current;
    const { floors, filterLossDb } = state.noise;
    floors.forEach((floor, j) => { if (!isLost[j]) this.warn(watchers.addFloor(j, this.heardSec, meanFloorDb(floor, this.settings.bandBins) + filterLossDb[j])); });
    const lost = learning.refresh(this.heardSec, this.heardSec - FLOOR_CELL_SEC);
    this.warn(lost.map((r) => describeLostClock(this.setup.recorders[r], this.heardSec)));
  }

  private warn(rows: readonly WarningRow[]): void {
    for (const row of rows) this.options.onWarning(row);
  }

  /** Steps of reference time that all inputs hold in full. */
  private countWholeSteps(): number {
    return Math.floor(this.findEndSec() / this.stepSec);
  }

  /** Reference time up to which all inputs hold sound. */
  private findEndSec(): number {
    const fs = this.setup.sampleRateHz;
    return Math.min(...this.setup.tracks.map((t) => {
      const fileSec = this.rings[t.input].endFrame / fs;
      const offset = this.run ? readOffset(this.run.learning.clock[t.recorderIndex], this.heardSec) : 0;
      // A frame of slack where clocks are rounded.
      return fileSec - offset - (t.recorderIndex > 0 ? 2 / fs : 0);
    }));
  }
}
