import { setImmediate as breathe, setTimeout as sleep } from 'node:timers/promises';
import type { Models } from '../../attribute/attribution.js';
import { CODING_BYTES } from '../../live/frame-ring.js';
import { LiveEngine, type EngineState } from '../../live/live-engine.js';
import { listNeededFrames, planSteps } from '../../live/step-plan.js';
import { FLOOR_CELL_SEC } from '../../live/floor-keeper.js';
import { listInputPaths, planLive, type LiveSetup } from '../../live/live-setup.js';
import type { WarningRow } from '../../live/warnings.js';
import { SHIPPED_MODELS } from '../../model/shipped-models.js';
import { VolaryError } from '../../schema/errors.js';
import type { CallRow } from '../../schema/rows.js';
import type { StudyManifest } from '../../study/manifest.js';
import { loadKernelsFile } from '../kernels-file.js';
import type { LiveFeed } from './feeds.js';
import { LoadMonitor } from './load-monitor.js';
import { openInput, type OpenedInput, type RawFormat } from './open-inputs.js';
import type { SoundDigest } from './sound-digest.js';
import { SoundJournal } from './sound-journal.js';
import { describeRun } from './state-file.js';
import { WatchTables } from './watch-tables.js';

export interface WatchOptions {
  manifest: StudyManifest;
  /** Folder that paths in the manifest are relative to. */
  folder: string;
  raw: Omit<RawFormat, 'channelCount'>;
  /** Folder for tables and state. */
  out?: string;
  overwrite?: boolean;
  warmUpSec: number;
  maxOffsetSec: number;
  /** Ends once no input has grown for so long, seconds; without it never. */
  idleSec?: number;
  /** When the first sample of a pipe was recorded, RFC 3339 in UTC. */
  startUtc?: string;
  /** Asks for an orderly end. */
  stop: AbortSignal;
  /** All is open: calls may come. */
  onStart: () => void;
  /** A call, and how much of the stream had been heard by then, seconds. */
  onCall: (row: CallRow, heardSec: number) => void;
  onWarning: (row: WarningRow) => void;
  onNote: (text: string) => void;
}

/** Sound that is waited for until recorders hear something in common, seconds. Common practice, no source. */
const CLOCK_WAIT_SEC = 600;
const READ_BYTES = 1 << 18;
const WAIT_MS = 40;

/** Watches a recording that is being made until it ends or is told to stop. @returns number of calls given */
export async function watchStream(options: WatchOptions): Promise<number> {
  const { manifest, out } = options;
  const paths = listInputPaths(manifest);
  const opened: OpenedInput[] = [];
  for (const path of paths) {
    const channels = manifest.tracks.flatMap((t) => t.files.filter((f) => f.path === path).map((f) => f.channel));
    opened.push(await openInput(path, options.folder, { ...options.raw, channelCount: Math.max(...channels) }, options.stop));
  }
  const setup = planLive(manifest, opened.map((o) => o.input));
  if (options.startUtc) setup.startUtc = options.startUtc;
  const isFile = opened.every((o) => o.isFile);
  if (!isFile && opened.length > 1) throw new VolaryError('bad-option', { what: 'standard input stands alone', got: `${opened.length} inputs`, expected: 'one stream with all channels' });
  const header = describeRun(setup, options.warmUpSec);
  const overwrite = options.overwrite ?? false;
  const journal = out === undefined || isFile ? undefined : await SoundJournal.open(out);
  if (overwrite) await journal?.clear();
  const tables = out === undefined ? undefined : await WatchTables.open(out, header, setup.startUtc, { overwrite, canRepeat: isFile || journal!.keptBytes > 0 });
  try {
    return await new WatchRun(options, setup, opened, isFile, tables, journal).run();
  } finally {
    journal?.close();
    tables?.close();
  }
}

class WatchRun {
  private readonly monitor = new LoadMonitor();
  private callCount = 0;
  private readonly feeds: LiveFeed[] = [];

  constructor(
    private readonly options: WatchOptions, private readonly setup: LiveSetup, private readonly opened: OpenedInput[], private readonly isFile: boolean,
    private readonly tables?: WatchTables, private readonly journal?: SoundJournal,
  ) {}

  async run(): Promise<number> {
    const state = await this.prepareState();
    const origins = state ? this.findOrigins(state) : this.setup.originFrames;
    const engine = await this.createEngine(origins, state);
    const { feeds } = this;
    try {
      await this.journal?.start(origins[0] * engine.rings[0].blockBytes);
      const keep = this.journal && ((chunk: Uint8Array) => this.journal!.append(chunk));
      for (const [k, input] of this.opened.entries()) feeds.push(await input.openFeed(this.isFile ? origins[k] - this.setup.originFrames[k] : 0, keep));
      if (this.isFile && state) {
        for (const [k, heard] of this.tables!.sound.entries()) await feeds[k].requireSameSound?.(heard);
        this.options.onNote(`going on at ${engine.heardSec.toFixed(1)} s, where an earlier run was saved`);
      }
      this.options.onStart();
      if (!engine.isWarm) this.options.onNote(`learning from the first ${this.options.warmUpSec} s; calls follow when that is over`);
      await this.pump(engine, feeds);
      this.tellLeftOver(engine);
      // A file may go on, and a run with a folder as well.
      await engine.finish(this.isFile && this.tables !== undefined);
      await this.journal?.clear();
      return this.callCount;
    } finally {
      for (const feed of feeds) await feed.close();
    }
  }

  private async createEngine(origins: readonly number[], state: EngineState | undefined): Promise<LiveEngine> {
    const models: Models = SHIPPED_MODELS;
    const engine: LiveEngine = new LiveEngine(await loadKernelsFile(), this.setup, {
      models, warmUpSec: this.options.warmUpSec, maxOffsetSec: this.options.maxOffsetSec, clockWaitSec: CLOCK_WAIT_SEC, pause: () => breathe(),
      // A row is in its table before it is given: a kill in between loses a line of output, never a row, and repeats none.
      onCall: (row, heardSec) => {
        if (this.tables && !this.tables.addCall(row)) return;
        this.callCount++;
        this.options.onCall(row, heardSec);
      },
      onWarning: (row) => { if (!this.tables || this.tables.addWarning(row)) this.options.onWarning(row); },
      onNote: this.options.onNote,
      onSave: async () => { await this.save(engine); },
    }, origins, state);
    return engine;
  }

  private async save(engine: LiveEngine): Promise<void> {
    const state = engine.save();
    await this.tables?.save(state, state && await this.digestSound(engine, state));
    // Before the warm-up is over no state needs anything: what the next try looks at is kept.
    const [firstFrame] = state ? listNeededFrames(this.setup, state) : engine.rings.map((r) => r.firstFrame);
    await this.journal?.trim(firstFrame * engine.rings[0].blockBytes);
  }

  /** What the files are that are being heard; undefined for a pipe. */
  private async digestSound(engine: LiveEngine, state: EngineState): Promise<SoundDigest[] | undefined> {
    if (!this.isFile) return undefined;
    const places = this.findOrigins(state), { originFrames } = this.setup;
    return Promise.all(this.feeds.map((feed, k) => {
      const { endFrame, blockBytes } = engine.rings[k];
      return feed.digestSound!((endFrame - originFrames[k]) * blockBytes, (places[k] - originFrames[k]) * blockBytes);
    }));
  }

  /** A pipe that ends in the middle of a frame was cut off, or is not what it was said to be. */
  private tellLeftOver(engine: LiveEngine): void {
    if (this.isFile || this.options.stop.aborted) return;
    const [{ partBytes, blockBytes }] = engine.rings;
    if (partBytes > 0) this.options.onNote(`warning: the stream ended in the middle of a frame: ${partBytes} of its ${blockBytes} bytes were left over; do --encoding and the number of channels fit?`);
  }

  private async pump(engine: LiveEngine, feeds: readonly LiveFeed[]): Promise<void> {
    const { stop, idleSec } = this.options;
    let idleFromMs = performance.now();
    // What had arrived from a pipe when it is told to stop is still worked on.
    while (!stop.aborted || feeds.some((f) => f.stop && !f.isEnded)) {
      if (stop.aborted) for (const feed of feeds) feed.stop?.();
      let taken = 0;
      for (const [k, feed] of feeds.entries()) taken += engine.rings[k].push(await feed.read(Math.min(READ_BYTES, engine.rings[k].roomBytes)));
      const worked = await engine.advance();
      const nowMs = performance.now();
      if (taken > 0 || worked) idleFromMs = nowMs;
      for (const line of this.monitor.look(this.lookAt(engine, feeds, nowMs), taken > 0)) this.options.onNote(line);
      if (taken > 0 || worked) continue;
      if (feeds.every((f) => f.isEnded) || (idleSec !== undefined && nowMs - idleFromMs >= 1000 * idleSec)) return;
      await sleep(WAIT_MS, undefined, { signal: stop }).catch(() => undefined);
    }
  }

  private lookAt(engine: LiveEngine, feeds: readonly LiveFeed[], nowMs: number): { nowMs: number; heardSec: number; waitingSec: number; isHeldBack: boolean } {
    const fs = this.setup.sampleRateHz;
    // During the warm-up nothing can be worked on: that is no delay.
    const held = engine.isWarm ? Math.max(...engine.rings.map((r) => r.endFrame / fs)) - engine.heardSec : 0;
    const behind = Math.max(...feeds.map((f, k) => f.countWaiting() / engine.rings[k].blockBytes / fs));
    return { nowMs, heardSec: engine.heardSec, waitingSec: Math.max(0, held) + behind, isHeldBack: feeds.some((f) => f.isHeldBack) };
  }

  /** The state to go on from; of a pipe it is said to the person what that means. */
  private async prepareState(): Promise<EngineState | undefined> {
    if (!this.tables) return undefined;
    const { stepSec } = planSteps(this.setup);
    const saved = this.tables.engine;
    if (this.isFile) return saved;
    const state = this.journal && this.journal.keptBytes > 0 ? await this.hearKept(this.journal, saved) : saved;
    if (!state) return undefined;
    const moved = this.moveState(state, stepSec);
    // From now on what is kept belongs to the moved state.
    await this.tables.save(moved);
    return moved;
  }

  /** Works once more on what an earlier run had read from its pipe since its state was saved, as if the stream ended there; rows that are in the table are not given again. */
  private async hearKept(journal: SoundJournal, saved: EngineState | undefined): Promise<EngineState | undefined> {
    const { setup, options } = this;
    const [given, blockBytes] = [setup.startUtc, setup.inputs[0].channelCount * CODING_BYTES[setup.inputs[0].coding]];
    setup.startUtc = this.tables!.startUtc ?? given;
    const first = Math.ceil(journal.firstByte / blockBytes);
    const origin = saved ? Math.max(first, listNeededFrames(setup, saved)[0]) : first;
    const engine = await this.createEngine([origin], saved);
    const feed = await journal.openFeed(origin * blockBytes);
    try {
      options.onNote(`an earlier run ended in the middle: working on the ${(feed.countWaiting() / blockBytes / setup.sampleRateHz).toFixed(1)} s of sound that it had read and kept`);
      while (!feed.isEnded) {
        engine.rings[0].push(await feed.read(Math.min(READ_BYTES, engine.rings[0].roomBytes)));
        await engine.advance();
      }
      await engine.finish(false);
    } finally {
      await feed.close();
      setup.startUtc = given;
    }
    await journal.clear();
    return engine.save();
  }

  /** For a pipe: what was learned serves on, what arrived meanwhile is gone. */
  private moveState(state: EngineState, stepSec: number): EngineState {
    const last = this.tables!.readLastCall();
    const knownSec = Math.max(state.step * stepSec, last?.offsetSec ?? 0);
    const atSec = this.placeStream(knownSec);
    const step = Math.ceil(atSec / stepSec - 1e-9);
    const sec = step * stepSec;
    return {
      ...state, step, takenSec: sec, slots: { firstSlot: Math.round(sec / planSteps(this.setup).slotSec), bits: new Uint8Array(0) },
      nextCell: Math.ceil(sec / FLOOR_CELL_SEC), decider: { ...state.decider, finalSec: sec, callCount: Math.max(state.decider.callCount, last?.callId ?? 0) },
    };
  }

  private placeStream(knownSec: number): number {
    const { startUtc, onNote } = this.options;
    const first = this.tables!.startUtc;
    if (startUtc === undefined || first === undefined) {
      onNote(`samples that arrived since an earlier run ended are missing, and how many is not known: times go on at ${knownSec.toFixed(1)} s as if there were none${first === undefined ? '' : '; --start says when this stream began'}`);
      return knownSec;
    }
    this.setup.startUtc = first;
    const atSec = (Date.parse(startUtc) - Date.parse(first)) / 1000;
    if (atSec < knownSec) {
      throw new VolaryError('bad-option', { where: '--start', what: 'lies before the end of what was heard', got: startUtc, expected: `at least ${knownSec.toFixed(1)} s after ${first}` });
    }
    onNote(`samples that arrived between ${knownSec.toFixed(1)} s and ${atSec.toFixed(1)} s are missing`);
    return atSec;
  }

  /** First frames of the inputs on their recorders' clocks. */
  private findOrigins(state: EngineState): number[] {
    const { stepSec } = planSteps(this.setup);
    if (!this.isFile) return this.opened.map(() => Math.round(state.step * stepSec * this.setup.sampleRateHz));
    return listNeededFrames(this.setup, state).map((frame, k) => Math.max(frame, this.setup.originFrames[k]));
  }
}
