import type { FlacScanner, FoundFrame } from './flac-scan.js';

/** Known frames are kept at most this densely: one per so many samples. */
const CHECKPOINT_FRAMES = 1 << 16;
/** Bytes walked frame by frame instead of being halved further. */
const WALK_BYTES = 1 << 17;

const WALK_BLOCKS = 16;

/** Finds the byte offset of a sample by halving, with the frames' own numbers; seek tables are not trusted and not needed. */
export class FlacSeeker {
  private readonly frames: number[] = [];
  private readonly offsets: number[] = [];

  constructor(private readonly scanner: FlacScanner) {}

  /** Keeps a frame as a starting point for later seeks. */
  remember(frame: FoundFrame): void {
    const at = this.countUpTo(frame.startFrame);
    if (at > 0 && frame.startFrame - this.frames[at - 1] < CHECKPOINT_FRAMES) return;
    if (at < this.frames.length && this.offsets[at] <= frame.offset) return;
    this.frames.splice(at, 0, frame.startFrame);
    this.offsets.splice(at, 0, frame.offset);
  }

  /** Offset from which walking forward meets the frame that holds `target`. */
  async seek(target: number): Promise<number> {
    const at = this.countUpTo(target);
    let low = at > 0 ? this.offsets[at - 1] : this.scanner.audioStart;
    let high = at < this.offsets.length ? this.offsets[at] : this.scanner.endByte;
    if (at > 0 && target - this.frames[at - 1] <= WALK_BLOCKS * this.scanner.fixedBlockFrames) return low;
    while (high - low > WALK_BYTES) {
      const middle = low + Math.floor((high - low) / 2);
      const frame = await this.scanner.nextFrame(middle, high);
      if (!frame || frame.startFrame > target) { high = middle; continue; }
      this.remember(frame);
      low = frame.offset;
      if (target < frame.startFrame + frame.header.blockFrames) return low;
    }
    return low;
  }

  /** The last whole frame of the file: searched from the end in steps that double. */
  async findLast(): Promise<FoundFrame | undefined> {
    const { audioStart, endByte } = this.scanner;
    let high = endByte;
    for (let step = 1 << 15; high > audioStart; step *= 2) {
      const low = Math.max(audioStart, high - step);
      let last: FoundFrame | undefined;
      for (let offset = low; offset < high;) {
        const frame = await this.scanner.nextFrame(offset, high);
        if (!frame) break;
        last = frame;
        offset = frame.endOffset;
      }
      if (last) return last;
      high = low;
    }
    return undefined;
  }

  private countUpTo(target: number): number {
    let lo = 0;
    let hi = this.frames.length;
    while (lo < hi) {
      const mid = (lo + hi) >> 1;
      if (this.frames[mid] <= target) lo = mid + 1; else hi = mid;
    }
    return lo;
  }
}
