/** All that a live run warns of, put together. */
import type { CallRow } from '../schema/rows.js';
import { LinkWatch, type LinkState, type LinkVerdict } from './link-watch.js';
import { SilenceWatch, type BirdState } from './silence-watch.js';
import { TrendWatch, type TrendState } from './trend-watch.js';
import { formatSpan, type WarningRow } from './warnings.js';

export interface WatcherState {
  link: LinkState[];
  birds: BirdState[];
  voice: TrendState[];
  noise: TrendState[];
  /** Per track, seconds of the present floor cell in which the link was down. */
  downSec: number[];
}

/** Calls, and floor cells of half a minute, that make one point of a trend. */
const CALLS_PER_POINT = 5;
const CELLS_PER_POINT = 4;
/** Calls below this probability say nothing about their bird's level. */
const SURE = 0.9;

export class Watchers {
  private readonly link: LinkWatch;
  private readonly birds: SilenceWatch;
  private readonly voice: TrendWatch;
  private readonly noise: TrendWatch;
  private downSec: number[];

  constructor(private readonly names: readonly string[], state?: WatcherState) {
    this.link = new LinkWatch(names, state?.link);
    this.birds = new SilenceWatch(names, state?.birds);
    this.voice = new TrendWatch(names.length, CALLS_PER_POINT, state?.voice);
    this.noise = new TrendWatch(names.length, CELLS_PER_POINT, state?.noise);
    this.downSec = state?.downSec ?? names.map(() => 0);
  }

  /** Takes what the links were in a stretch of time. */
  addLinks(fromSec: number, toSec: number, verdicts: readonly LinkVerdict[]): WarningRow[] {
    return verdicts.flatMap((verdict, j) => {
      if (verdict !== 'ok') this.downSec[j] += toSec - fromSec;
      const rows = this.link.add(j, fromSec, toSec, verdict);
      return [...rows, ...this.birds.addTime(j, verdict === 'ok' ? toSec - fromSec : 0, toSec)];
    });
  }

  addCalls(rows: readonly CallRow[], nowSec: number): WarningRow[] {
    return rows.flatMap((row) => {
      const j = this.names.indexOf(row.bird);
      if (j < 0) return [];
      const out = this.birds.addCall(j, row.offsetSec);
      const trend = row.track === row.bird && row.probability >= SURE ? this.voice.add(j, row.onsetSec, row.levelDb) : undefined;
      if (trend) out.push({ timeSec: nowSec, track: row.bird, kind: 'falling-signal', text: `falling signal: its own voice is ${(-trend.changeDb).toFixed(1)} dB weaker than ${formatSpan(trend.spanSec)} before` });
      return out;
    });
  }

  /** Per track, whether its link was down for most of the floor cell that just ended. */
  endCell(cellSec: number): boolean[] {
    const isLost = this.downSec.map((sec) => sec > cellSec / 2);
    this.downSec = this.names.map(() => 0);
    return isLost;
  }

  /** Takes noise floors over the band; those of dead links are not to be given. Less carrier is more noise. */
  addFloor(track: number, nowSec: number, floorDb: number): WarningRow[] {
    const trend = this.noise.add(track, nowSec, -floorDb);
    if (!trend) return [];
    return [{ timeSec: nowSec, track: this.names[track], kind: 'rising-noise', text: `falling signal: its noise has risen by ${(-trend.changeDb).toFixed(1)} dB in ${formatSpan(trend.spanSec)}, as with a weakening carrier` }];
  }

  save(): WatcherState {
    return { link: this.link.save(), birds: this.birds.save(), voice: this.voice.save(), noise: this.noise.save(), downSec: this.downSec };
  }
}
