import { TILE_COLUMNS } from './worker-messages.js';
import type { FloorTable, TileLook } from './worker-messages.js';
import { Dropped } from './worker-crew.js';
import type { WorkerCrew } from './worker-crew.js';

interface Tile { bitmap?: ImageBitmap; bytes: number; usedAt: number; isAsked: boolean }

/** Pictures stay within this much memory. */
const MOST_BYTES = 192 * 2 ** 20;
const LEAST_HOP = 8;

/** Tiles of spectra by level and index, asked from the workers as they come into view. */
export class TileCache {
  private readonly tiles = new Map<string, Tile>();
  private bytes = 0;
  private clock = 0;
  private look?: TileLook;
  private floor?: FloorTable;
  private wanted = new Map<string, number>();

  constructor(private readonly crew: WorkerCrew, private readonly sampleRateHz: number, private readonly durationSec: number, private readonly trackCount: number, private readonly onTile: () => void) {}

  /** Another look makes other pictures. */
  setLook(look: TileLook): void {
    this.look = look;
    this.clear();
  }

  setFloor(floor: FloorTable): void {
    this.floor = floor;
    this.clear();
  }

  /** Hop whose columns are no wider than a device pixel, at least LEAST_HOP. */
  chooseHop(secPerDevicePx: number): number {
    return Math.max(LEAST_HOP, 2 ** Math.floor(Math.log2(Math.max(1, secPerDevicePx * this.sampleRateHz * 1.25))));
  }

  tileSec(hopFrames: number): number {
    return (TILE_COLUMNS * hopFrames) / this.sampleRateHz;
  }

  /** The tile, or undefined while it is being made. */
  get(hopFrames: number, index: number): ImageBitmap | undefined {
    const tile = this.tiles.get(`${hopFrames} ${index}`);
    if (tile) tile.usedAt = ++this.clock;
    return tile?.bitmap;
  }

  /** Asks for what is in view and a tile beyond; drops what is waiting and no longer wanted. */
  want(hopFrames: number, fromSec: number, toSec: number): void {
    const { look, floor } = this;
    if (!look || !floor) return;
    const first = Math.floor(fromSec / this.tileSec(hopFrames));
    const last = Math.floor(toSec / this.tileSec(hopFrames));
    this.wanted = new Map();
    const middle = (first + last) / 2;
    for (let index = Math.max(0, first - 1); index <= last + 1; index++) {
      if (index * this.tileSec(hopFrames) >= this.durationSec) break;
      const outside = index < first || index > last ? 100 : 0;
      this.wanted.set(`${hopFrames} ${index}`, outside + Math.abs(index - middle));
    }
    this.crew.reorder((key) => this.wanted.get(key));
    for (const [key, urgency] of this.wanted) if (!this.tiles.get(key)?.isAsked) this.ask(key, urgency, look, floor);
  }

  private ask(key: string, urgency: number, look: TileLook, floor: FloorTable): void {
    const [hopFrames, index] = key.split(' ').map(Number);
    const tile: Tile = { bytes: 0, usedAt: ++this.clock, isAsked: true };
    this.tiles.set(key, tile);
    this.crew.run({ kind: 'tile', index, hopFrames, look, floor }, urgency, key).then((bitmap) => {
      if (this.tiles.get(key) !== tile) return void bitmap.close();
      tile.bitmap = bitmap;
      tile.bytes = TILE_COLUMNS * look.rows * this.trackCount * 4;
      this.bytes += tile.bytes;
      this.trim();
      this.onTile();
    }, (error: unknown) => {
      if (this.tiles.get(key) === tile) this.tiles.delete(key);
      if (!(error instanceof Dropped)) console.warn(error);
    });
  }

  private trim(): void {
    if (this.bytes <= MOST_BYTES) return;
    const old = [...this.tiles].filter(([key, t]) => t.bitmap && !this.wanted.has(key)).sort(([, a], [, b]) => a.usedAt - b.usedAt);
    for (const [key, tile] of old) {
      if (this.bytes <= MOST_BYTES) return;
      tile.bitmap!.close();
      this.bytes -= tile.bytes;
      this.tiles.delete(key);
    }
  }

  private clear(): void {
    for (const tile of this.tiles.values()) tile.bitmap?.close();
    this.tiles.clear();
    this.bytes = 0;
    this.crew.reorder(() => undefined);
  }
}
