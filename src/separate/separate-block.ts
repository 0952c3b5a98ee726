import { createKernels } from '../kernels/kernels.js';
import { countPathBytes } from '../kernels/paths.js';
import { padBins, PlaneSpace } from '../kernels/plane-space.js';
import { toReference } from '../model/clock.js';
import type { PathContext } from './choose-path.js';
import { learnLevels } from './crosstalk-levels.js';
import { countFloorBytes, measureFloors } from './noise-floors.js';
import { PathEngine } from './path-system.js';
import { planPieces } from './plan-pieces.js';
import type { Piece, SeparationCall } from './plan-pieces.js';
import { countAnalyserBytes, countMostWindows, LONGEST_SECTION_SEC, SectionAnalyser } from './section.js';
import { countPieceBytes, MOST_OTHERS, PieceSeparator } from './separate-piece.js';
import type { Edit, TakeSamples } from './separate-piece.js';
import type { SeparationInput } from './separate-tracks.js';
import { chooseSeparationSettings } from './settings.js';
import type { SeparationSettings } from './settings.js';
import { countStoreBytes, SoloStore } from './solo-store.js';
import { countLoaderBytes, TrackLoader } from './track-loader.js';

/** Work is done in blocks of this length, seconds; so are noise floors and levels. */
const BLOCK_SEC = 20;
/** A piece may begin a little before its onset, seconds. */
const EARLY_SEC = 0.1;

export function countBlockFrames(sampleRateHz: number): number {
  return Math.round(BLOCK_SEC * sampleRateHz);
}

/** Bytes of kernel memory for tables, solo calls, rows of floors, and whatever takes most at a time. */
function countBytes(settings: SeparationSettings, trackCount: number): number {
  const paths = countPathBytes(MOST_OTHERS, countMostWindows(settings), padBins(settings.binCount), settings), floors = countFloorBytes(settings, countBlockFrames(settings.sampleRateHz), trackCount);
  return countLoaderBytes(trackCount, settings.sampleRateHz) + countAnalyserBytes(settings, trackCount) + countStoreBytes(settings) + (trackCount + trackCount ** 2) * 4 * padBins(settings.binCount) + Math.max(countPieceBytes(settings, trackCount) + paths, floors);
}

/** Works out what separation changes in one block. Every block follows from the input alone, so that blocks can be done anywhere in any order. */
export class BlockSeparator {
  private readonly settings: SeparationSettings;
  private readonly analyser: SectionAnalyser;
  private readonly calls: SeparationCall[];
  private readonly pieces: readonly Piece[];

  constructor(private readonly input: SeparationInput) {
    const { sampleRateHz, endFrames, recorderOf, clock, read } = input;
    const settings = chooseSeparationSettings(sampleRateHz, input.changes);
    this.settings = settings;
    this.calls = [...input.calls].sort((a, b) => a.onsetSec - b.onsetSec || a.track - b.track);
    const space = new PlaneSpace(createKernels(input.kernels, countBytes(settings, endFrames.length)), settings.binCount);
    const loader = new TrackLoader(space.k, read, endFrames.length, sampleRateHz);
    this.analyser = new SectionAnalyser(space, settings, recorderOf, clock, loader);
    this.pieces = planPieces(this.calls, endFrames.length, settings);
    this.store = new SoloStore(this.analyser, new PathEngine(space, settings), this.calls, endFrames.length);
    this.base = space.k.mark();
  }
  /** What a block takes begins here. */
  private readonly base: number;
  private readonly store: SoloStore;

  /** Changes of the pieces that begin in a block, in order of time; they may reach into later blocks. Blocks wait for each other. */
  separate(blockIndex: number, take: TakeSamples = (count) => new Float32Array(count)): Promise<Edit[]> {
    const result = this.queue.then(() => this.separateNow(blockIndex, take));
    this.queue = result.catch(() => undefined);
    return result;
  }
  private queue: Promise<unknown> = Promise.resolve();

  private async separateNow(blockIndex: number, take: TakeSamples): Promise<Edit[]> {
    const { input: { endFrames, sampleRateHz }, settings, store, analyser, analyser: { space, space: { k } } } = this;
    const blockFrames = countBlockFrames(sampleRateHz), startFrame = blockIndex * blockFrames, endFrame = Math.min(Math.max(0, ...endFrames), startFrame + blockFrames);
    const pieces = this.findPieces(blockIndex === 0 ? -Infinity : this.findLimit(startFrame), this.findLimit(endFrame));
    if (pieces.length === 0) return [];
    k.release(this.base);
    const floors = await measureFloors(analyser, endFrames.map(() => startFrame), endFrame - startFrame);
    store.beginBlock();
    const levels = await learnLevels(store, (startFrame + endFrame) / 2 / sampleRateHz, floors, settings);
    const context: PathContext = { store, settings, floors, floorRows: floors.map((f) => space.placeRow(f, 1)), levels, levelRows: levels.ratio.map((r) => space.placeRow(r)) };
    // Pieces are short; one that begins in the block and all it looks at lie within this reach.
    const fromSec = pieces[0].startSec - LONGEST_SECTION_SEC, toSec = pieces[pieces.length - 1].startSec + LONGEST_SECTION_SEC;
    const sounds = (this.input.sounds ?? []).filter((s) => s.onsetSec < toSec && s.offsetSec > fromSec);
    return new PieceSeparator(analyser, this.calls, sounds, take).separate(pieces, context);
  }

  /** Reference time before which pieces belong to the block that ends at a frame. */
  private findLimit(endFrame: number): number {
    return Math.max(...this.input.clock.map((c) => toReference(c, endFrame / this.input.sampleRateHz))) + EARLY_SEC;
  }

  private findPieces(fromSec: number, toSec: number): Piece[] {
    let low = 0, high = this.pieces.length;
    while (low < high) { const mid = (low + high) >> 1; if (this.pieces[mid].startSec < fromSec) low = mid + 1; else high = mid; }
    let end = low;
    while (end < this.pieces.length && this.pieces[end].startSec < toSec) end++;
    return this.pieces.slice(low, end);
  }
}
