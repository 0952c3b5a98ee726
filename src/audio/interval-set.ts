/** A set of half-open intervals, merged where they touch; used to count every frame once however often it is read. */
export class IntervalSet {
  private readonly starts: number[] = [];
  private readonly ends: number[] = [];
  private total = 0;

  /** Sum of the lengths of all intervals. */
  get totalLength(): number { return this.total; }
  get intervalCount(): number { return this.starts.length; }
  get firstStart(): number | undefined { return this.starts[0]; }

  /** Adds [start, end) and returns the parts of it that were not yet covered, in order. */
  add(start: number, end: number): Array<[number, number]> {
    if (!(end > start)) return [];
    const first = this.firstTouching(start);
    let last = first;
    const fresh: Array<[number, number]> = [];
    let cursor = start;
    while (last < this.starts.length && this.starts[last] <= end) {
      if (this.starts[last] > cursor) fresh.push([cursor, this.starts[last]]);
      cursor = Math.max(cursor, this.ends[last]);
      last++;
    }
    if (cursor < end) fresh.push([cursor, end]);
    const mergedStart = last > first ? Math.min(start, this.starts[first]) : start;
    const mergedEnd = last > first ? Math.max(end, this.ends[last - 1]) : end;
    this.starts.splice(first, last - first, mergedStart);
    this.ends.splice(first, last - first, mergedEnd);
    for (const [s, e] of fresh) this.total += e - s;
    return fresh;
  }

  /** The parts of [start, end) that are covered, in order. */
  within(start: number, end: number): Array<[number, number]> {
    const found: Array<[number, number]> = [];
    for (let k = this.firstTouching(start); k < this.starts.length && this.starts[k] < end; k++) {
      const from = Math.max(start, this.starts[k]);
      const to = Math.min(end, this.ends[k]);
      if (to > from) found.push([from, to]);
    }
    return found;
  }

  /** Index of the first interval whose end is at or after `position`. */
  private firstTouching(position: number): number {
    let lo = 0;
    let hi = this.ends.length;
    while (lo < hi) {
      const mid = (lo + hi) >> 1;
      if (this.ends[mid] < position) lo = mid + 1; else hi = mid;
    }
    return lo;
  }
}
