import { DAY_SEC } from '../exclusions/derive-exclusions.js';

const HOUR_SEC = 3600;

/** Hours of the day and days of a study, by the clock on the wall where the time of the start is known, else counted from the start. */
export class DayClock {
  /** Seconds from midnight to the study's start. */
  readonly shiftSec: number;
  private readonly midnightMs: number | undefined;

  /**
   * @param startUtc RFC 3339 time of the study's start
   * @param utcOffsetMin minutes that the clock on the wall is ahead of UTC
   */
  constructor(readonly startUtc: string | undefined, readonly utcOffsetMin = 0) {
    const startMs = startUtc === undefined ? NaN : Date.parse(startUtc) + utcOffsetMin * 60000;
    const known = Number.isFinite(startMs);
    this.midnightMs = known ? Math.floor(startMs / 86400000) * 86400000 : undefined;
    this.shiftSec = known ? (startMs - this.midnightMs!) / 1000 : 0;
  }

  /** True where hours of the day are those on the wall. */
  get isKnown(): boolean { return this.midnightMs !== undefined; }

  /** Day of the study, the first is 1. */
  findDay(tSec: number): number { return Math.floor((tSec + this.shiftSec) / DAY_SEC) + 1; }

  findHour(tSec: number): number {
    const inDay = (tSec + this.shiftSec) % DAY_SEC;
    return Math.floor((inDay < 0 ? inDay + DAY_SEC : inDay) / HOUR_SEC);
  }

  /** Date of a day of the study, '' where it is not known. */
  formatDate(day: number): string {
    return this.midnightMs === undefined ? '' : new Date(this.midnightMs + (day - 1) * 86400000).toISOString().slice(0, 10);
  }

  /** Full hours on this clock that touch [fromSec, toSec). */
  listHours(fromSec: number, toSec: number): { startSec: number; endSec: number; day: number; hour: number }[] {
    const out = [];
    const first = Math.floor((fromSec + this.shiftSec) / HOUR_SEC);
    for (let n = first; n * HOUR_SEC - this.shiftSec < toSec; n++) {
      const startSec = n * HOUR_SEC - this.shiftSec;
      out.push({ startSec, endSec: startSec + HOUR_SEC, day: Math.floor(n / 24) + 1, hour: ((n % 24) + 24) % 24 });
    }
    return out;
  }
}
